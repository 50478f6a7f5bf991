"""A whole day by public verbs only: from the questions of `init` to the report.

It is played in a served world, which is held wherever the order of things matters, and
told to a real broker. What every verb says, what the daemon says and recorded, and what the
broker passes on to an independent client is compared with `whole_day.expected`. Only what
differs from run to run is replaced: dates and the time of day, the broker's port, how long
ago it confirmed something, and how fast a replay was. Left out are the lines that come when
something real has answered (the disk, the broker), and the run's id. What the broker
passed on stands by topic: which of two topics came first is the broker's affair.
"""

import json
import re
import signal
from collections.abc import Iterable
from pathlib import Path

import pytest
from typer.testing import CliRunner

from linetender.cli.exit_codes import ExitCode
from linetender.cli.main import app
from mosquitto_broker import MosquittoBroker, Witness, mosquitto, witness
from served_world import World, served_world
from system.transcript import transcript

__all__ = ["mosquitto", "witness"]

TOP = "linetender/new"

EXPECTED = Path(__file__).with_name("whole_day.expected")

SOUNDER = "22"

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
required_airflow = "6.5 cfm"
hook_pin = 6
fan_mains_pin = 19
co_alarm_pin = 26
oximeter = "simulated:world"
check_in = "none"
recording = "yes"
broker_host = "127.0.0.1:PORT"
broker_tls = "no"
broker_user = "linetender-new"
broker_password = "invented secret"
contacts = "kim"
second_boxes = "none"
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

VARYING = (
    (r"\d{4}-\d\d-\d\dT\d{6}", "DATE-TIME"),
    (r"\d{4}-\d\d-\d\d", "DATE"),
    (r"confirmed \d+\.\d s ago", "confirmed A WHILE ago"),
    (r"Replayed in .* real time\)", "Replayed in HOW LONG"),
)


class Day:
    """A day in a world, and all that was said in it.

    Args:
        world: The world.
        folder: Where it lies; the verbs run there.
    """

    def __init__(self, world: World, folder: Path) -> None:
        self.world = world
        self.said: list[str] = []
        self._env = {
            "XDG_RUNTIME_DIR": str(folder),
            "COLUMNS": "80",
            "NO_COLOR": "1",
            "TERM": "dumb",
        }

    def do(self, *arguments: str, fails: bool = False) -> str:
        """Run a verb; what it says goes into the transcript, and is returned."""
        done = CliRunner().invoke(app, arguments, env=self._env)
        assert done.exit_code == (ExitCode.FINDINGS if fails else ExitCode.FINE), done
        said = [f"$ linetender {' '.join(arguments)}", *done.output.splitlines()]
        self.said += [line.rstrip() for line in said]
        self.said += ["(exit status 1)"] if fails else []
        return done.stdout

    def hand(self, *arguments: str) -> None:
        """Let a script's hand do something."""
        self.do("simulate", *arguments, "--at", "world")

    def wait_for_the_test(self) -> None:
        """Wait until the check has asked for the hood."""
        for _ in range(60):
            self.hand("wait", "5")
            asked = CliRunner().invoke(app, ["status", "--json"], env=self._env)
            if json.loads(asked.stdout)["snapshot"]["check"]["awaits_sound"]:
                return
        pytest.fail("\n".join(self.said))


def morning(day: Day) -> None:
    """Set the station up: questions, a forecast, teaching."""
    day.do("init", "--bus", "simulated:world", "--answers", "answers.toml", "--out", "new.toml")
    day.do("size", "new.toml", fails=True)
    day.do("lint", "new.toml", fails=True)
    day.do("calibrate", "new.toml", "--teach", "--answers", "air.toml")
    day.hand("fault", "--clear")
    day.do("lint", "new.toml")
    day.hand("hold")


def check(day: Day) -> None:
    """Check before use, by the one button: fan off, card, test sound."""
    day.hand("wait", "5", "--stations", "1")
    day.hand("turn", "fan", "0")
    day.hand("wait", "25")
    day.hand("press", "answer")
    day.hand("wait", "3")
    day.hand("turn", "fan", "1")
    day.hand("wait", "10")
    day.hand("press", "answer")
    day.wait_for_the_test()
    day.hand("turn", "hood", "1")
    day.hand("wait", "5")
    day.hand("wait", "60", "--pin", SOUNDER)
    day.hand("wait", "1.5")
    day.hand("press", "answer")
    day.hand("wait", "20")
    day.do("status")


def use(day: Day) -> None:
    """Wear the hood through three faults, each answered and mended; then end the use."""
    for fault, mends_s in (("duct_crushed", "150"), ("oximeter_off", "45"), ("fan_stop", "25")):
        day.hand("fault", fault)
        day.hand("wait", "60", "--pin", SOUNDER)
        day.do("status", fails=True)
        day.hand("wait", "1")
        day.hand("press", "answer")
        day.hand("fault", fault, "--clear")
        day.hand("wait", mends_s)
    day.do("status", fails=True)
    day.do("reset")
    day.hand("wait", "1")
    day.hand("press", "answer")
    day.hand("wait", "4")
    day.hand("press", "answer")
    day.hand("wait", "1")


def evening(day: Day) -> None:
    """Hang the hood up, switch the fan off: nobody is alarmed."""
    day.hand("turn", "hood", "0")
    day.hand("turn", "fan", "0")
    day.hand("wait", "40")
    day.do("status")


def look_back(day: Day, recording: Path) -> None:
    """Replay the session, and report on it."""
    day.do("replay", str(recording))
    day.do("report", str(recording))


@pytest.mark.broker
def test_the_whole_day(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    update_golden: bool,
    mosquitto: MosquittoBroker,
    witness: Witness,
) -> None:
    monkeypatch.chdir(tmp_path)
    answers = ANSWERS.replace("PORT", str(mosquitto.port))
    (tmp_path / "answers.toml").write_text(answers, encoding="utf-8")
    (tmp_path / "air.toml").write_text("schema = 1\n", encoding="utf-8")
    with served_world(tmp_path) as world:
        day = Day(world, tmp_path)
        morning(day)
        day.said.append("$ linetender run new.toml &")
        with world.background("run", "new.toml") as station:
            check(day)
            use(day)
            evening(day)
            station.send_signal(signal.SIGTERM)
            told, errors = station.communicate(timeout=30)
        assert (station.returncode, errors) == (ExitCode.FINE, "")
        witness.wait_for(f"{TOP}/online", "offline")
        (recording,) = (path.relative_to(tmp_path) for path in (tmp_path / "sessions").iterdir())
        look_back(day, recording)
    day.said += ["", "What linetender run said:", *told.splitlines()]
    day.said += ["", "What the recording holds:", *transcript(recording).splitlines()]
    day.said += ["", "What the broker passed on:", *told_by_broker(witness)]
    found = normalised(day.said).replace(f":{mosquitto.port}", ":PORT")
    if update_golden:
        EXPECTED.write_text(found, encoding="utf-8")
    assert found == EXPECTED.read_text(encoding="utf-8")


def told_by_broker(witness: Witness) -> list[str]:
    """Return what a client was told that matters to people and programs, in its order."""
    lines: dict[str, list[str]] = {}
    for seen in witness.seen:
        topic = seen.topic.removeprefix(f"{TOP}/")
        if topic == "event":
            event = json.loads(seen.payload)
            fields = {key: each for key, each in event.items() if key not in ("at", "id", "v")}
            number = event["id"].partition("-")[2]
            lines.setdefault(topic, []).append(f"event {number}: {json.dumps(fields)}")
        elif topic in ("online", "say") or topic.startswith("contact/"):
            lines.setdefault(topic, []).append(f"{topic}: {seen.payload}")
    return [line for topic in sorted(lines) for line in lines[topic]]


REAL = ("disk: met.", "step disk, state met", "broker: met.", "step broker, state met")
"""Lines that come when something real has answered."""


def normalised(lines: Iterable[str]) -> str:
    """Replace what differs from run to run."""
    text = "".join(f"{line}\n" for line in lines if not line.endswith(REAL))
    for pattern, word in VARYING:
        text = re.sub(pattern, word, text)
    return text
