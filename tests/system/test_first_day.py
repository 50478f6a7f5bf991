"""The first steps with a new line, by public verbs only, in a served world."""

from pathlib import Path

from linetender.cli.exit_codes import ExitCode
from served_world import served_world

ANSWERS = """
id = "new"
arrangement = "wearer_side"
exit_time = 7
sensor = "sdp8xx@0x25"
normal_pressure = "teach"
button_pin = 17
button_nc_pin = 27
siren_pin = 22
lamp_pin = 23
element = "hood_hose"
altitude = "800 ft"
hook_pin = 6
fan_mains_pin = 19
co_alarm_pin = 26
oximeter = "simulated:world"
check_in = "none"
recording = "yes"
broker_host = "none"
line = "yes"
fan_airflow = "200 cfm"
fan_pressure = "1.5 inH2O"
duct_length = "20 ft"
duct_diameter = "4 in"
duct_bends = 2
hose_length = "6 ft"
hose_diameter = "1.75 in"
hood_gap = "6 in2"
"""


def test_from_questions_to_a_station_that_is_fit_to_run(tmp_path: Path) -> None:
    given, path = tmp_path / "answers.toml", tmp_path / "new.toml"
    given.write_text(ANSWERS, encoding="utf-8")
    (tmp_path / "air.toml").write_text("schema = 1\n", encoding="utf-8")
    with served_world(tmp_path) as world:
        asked = world.verb("init", "--bus", "simulated:world", "--answers", given, "--out", path)
        assert (asked.returncode, asked.stderr) == (ExitCode.FINE, "")
        assert "Found sdp8xx@0x25, SDP810-500Pa; it reads " in asked.stdout
        assert "Found an oximeter, simulated:world" in asked.stdout
        assert asked.stdout.splitlines()[-1] == f"Next: linetender size {path}"
        sized = world.verb("size", path)
        assert sized.returncode in {ExitCode.FINE, ExitCode.FINDINGS}, sized.stderr
        untaught = world.verb("lint", path)
        assert untaught.returncode == ExitCode.FINDINGS
        assert "teach it: linetender calibrate FILE --teach" in untaught.stdout
        taught = world.verb("calibrate", path, "--teach", "--answers", tmp_path / "air.toml")
        assert (taught.returncode, taught.stderr) == (ExitCode.FINE, "")
        assert world.verb("lint", path).returncode == ExitCode.FINE
