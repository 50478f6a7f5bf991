"""The verb `init`: every way through its questions ends in a file that lints clean, or in none."""

import json
import stat
import tomllib
from itertools import product
from pathlib import Path

import hypothesis
import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner, Result

from linetender.cli.exit_codes import ExitCode
from linetender.cli.init_answers import Refused, accepted
from linetender.cli.init_questions import OPEN_HOOD, QUESTIONS, UNITS, Kind, Question
from linetender.cli.init_sensors import unseen_sensors
from linetender.cli.main import app
from linetender.settings.load import load_station
from linetender_drivers.registry import driver_names, find_spec

MINIMAL: dict[str, object] = {
    "id": "loft",
    "arrangement": "wearer_side",
    "exit_time": 7,
    "sensor": "sdp8xx@0x25",
    "normal_pressure": 85,
    "button_pin": 17,
    "button_nc_pin": 27,
    "siren_pin": 22,
    "lamp_pin": 23,
}
WHOLE: dict[str, object] = MINIMAL | {
    "element": "hood_hose",
    "altitude": "1000 ft",
    "required_airflow": 170,
    "hook_pin": 6,
    "fan_mains_pin": 5,
    "co_alarm_pin": 13,
    "oximeter": "02:00:5E:10:00:01",
    "check_in": 20,
    "recording": "yes",
    "broker_host": "broker.home.arpa",
    "broker_tls": "yes",
    "broker_user": "linetender-loft",
    "broker_password": "invented secret",
    "contacts": "kim lou",
    "second_boxes": "bench:wearer kitchen:attendant",
    "line": "no",
}
BROKER = ("broker_tls", "broker_user", "broker_password", "contacts", "second_boxes")
SENSORS: tuple[dict[str, object], ...] = (
    {"sensor": "sdp8xx@0x21"},
    {"sensor": "sdp8xx@0x25"},
    {"sensor": "sdp8xx@0x26"},
    {"sensor": "d6f_ph@0x6c", "sensor_product": "D6F-PH0025"},
    {"sensor": "d6f_ph@0x6f", "sensor_product": "D6F-PH5050"},
    {"sensor": "hsc", "sensor_part": "HSCDRRN250LD2A3"},
    {"sensor": "hsc", "sensor_part": "sscdrrn002nd3a5"},
    {"sensor": "ms4525do@0x28", "sensor_range": 1, "sensor_output": "A"},
    {"sensor": "ms4525do@0x46", "sensor_range": 2, "sensor_output": "B"},
    {"sensor": "ads1115_pressure@0x48", "sensor_low": 0, "sensor_high": "2 inH2O"},
    {"sensor": "ads1115_pressure@0x4b", "sensor_low": "-250 Pa", "sensor_high": 250},
)
LINE: dict[str, object] = {
    "line": "yes",
    "fan_airflow": "200 cfm",
    "fan_pressure": "1.5 inH2O",
    "duct_length": "20 ft",
    "duct_diameter": "4 in",
    "duct_bends": 3,
    "hose_length": 2,
    "hose_diameter": 38,
    "hood_gap": "6 in2",
}
REASON = "We practise opening the hood on the way."


def run(*arguments: object, typed: str = "") -> Result:
    return CliRunner().invoke(app, ["init", *map(str, arguments)], input=typed)


def answers_file(folder: Path, answers: dict[str, object]) -> Path:
    path = folder / "answers.toml"
    path.write_text(
        "".join(f"{key} = {json.dumps(value)}\n" for key, value in answers.items()),
        encoding="utf-8",
    )
    return path


def written(folder: Path, answers: dict[str, object], *options: str) -> Path:
    out = folder / "station.toml"
    given = answers_file(folder, answers)
    done = run("--answers", given, "--out", out, "--no-search", *options)
    assert (done.exit_code, done.exception) == (0, None), done.output
    return out


def is_clean(path: Path) -> bool:
    done = CliRunner().invoke(app, ["lint", str(path)])
    return done.exit_code == ExitCode.FINE


@pytest.mark.parametrize(
    ("arrangement", "too_far", "sensor", "nc"),
    [
        *product(
            ("wearer_side", "fan_side"), (False, True), ("sdp8xx@0x25", "sdp8xx@0x26"), (27, "none")
        )
    ],
)
def test_every_minimal_station_lints_clean(
    tmp_path: Path, arrangement: str, too_far: bool, sensor: str, nc: object
) -> None:
    changed = {"arrangement": arrangement, "sensor": sensor, "button_nc_pin": nc}
    far: dict[str, object] = {"exit_time": 60, OPEN_HOOD: REASON} if too_far else {}
    answers = MINIMAL | changed | far
    assert len(answers) <= 10
    assert is_clean(written(tmp_path, answers, "--minimal"))


PARTS = ("hook_pin", "fan_mains_pin", "co_alarm_pin", "oximeter", "check_in", "broker_host")


SETTINGS = tuple(product(("wearer_side", "fan_side"), ("hood_hose", "duct", "orifice", "pitot")))


@pytest.mark.parametrize("turn", range(len(SETTINGS)))
def test_every_combination_of_parts_lints_clean(tmp_path: Path, turn: int) -> None:
    """Each combination in one of the settings in turn; each setting bare and with all parts."""
    arrangement, element = SETTINGS[turn]
    combinations = [*product((True, False), repeat=len(PARTS))]
    for number in sorted({0, len(combinations) - 1, *range(turn, len(combinations), 8)}):
        fitted = combinations[number]
        answers = WHOLE | {"arrangement": arrangement, "element": element}
        if element == "orifice":
            answers |= {"orifice_bore": "2 in", "orifice_pipe": 100}
        for part, is_fitted in zip(PARTS, fitted, strict=True):
            if not is_fitted:
                answers[part] = "none"
        if answers["broker_host"] == "none":
            answers = {key: value for key, value in answers.items() if key not in BROKER}
        if (number // 8) % 2:
            answers |= LINE | {"recording": "no"}
        folder = tmp_path / str(number)
        folder.mkdir()
        out = written(folder, answers)
        assert load_station(out).advice == (), answers


FITTED = st.fixed_dictionaries(
    {
        "arrangement": st.sampled_from(("wearer_side", "fan_side")),
        "exit_time": st.sampled_from((5, 7)),
        "normal_pressure": st.sampled_from((40, "0.35 inH2O", 200)),
        "button_nc_pin": st.sampled_from((27, "none")),
        "altitude": st.sampled_from(("5000 ft", 0, 1200)),
        "required_airflow": st.sampled_from((170, "8 cfm", 400)),
        "hook_pin": st.sampled_from((6, "none")),
        "fan_mains_pin": st.sampled_from((5, "none")),
        "co_alarm_pin": st.sampled_from((13, "none")),
        "oximeter": st.sampled_from(("only", "02:00:5E:10:00:01", "none")),
        "check_in": st.sampled_from((1, 60, "none")),
        "recording": st.sampled_from(("yes", "no")),
    }
)
BROKERS = st.one_of(
    st.just({"broker_host": "none"}),
    st.fixed_dictionaries(
        {
            "broker_host": st.sampled_from(("127.0.0.1:1884", "broker.home.arpa", "[::1]:8884")),
            "broker_tls": st.sampled_from(("yes", "no")),
            "broker_user": st.just("linetender-loft"),
            "broker_password": st.just("invented secret"),
            "contacts": st.sampled_from(("kim", "kim lou", "none")),
            "second_boxes": st.sampled_from(("bench:wearer", "a:attendant b:attendant", "none")),
        }
    ),
)
ELEMENTS = st.sampled_from(
    (
        {"element": "hood_hose"},
        {"element": "duct"},
        {"element": "pitot"},
        {"element": "orifice", "orifice_bore": "2 in", "orifice_pipe": 100},
    )
)


@given(st.tuples(FITTED, st.sampled_from(SENSORS), ELEMENTS, BROKERS, st.sampled_from((LINE, {}))))
@hypothesis.settings(max_examples=40)
def test_whatever_is_answered_the_file_lints_clean(
    tmp_path_factory: pytest.TempPathFactory, parts: tuple[dict[str, object], ...]
) -> None:
    answers = {key: value for key, value in WHOLE.items() if key not in (*BROKER, "sensor")}
    for part in parts:
        answers |= part
    out = written(tmp_path_factory.mktemp("station"), answers)
    station = load_station(out)
    assert station.advice == (), answers
    told = str(answers.get("contacts", "none"))
    assert station.plan.contact_names == (() if told == "none" else tuple(told.split()))


def test_every_pressure_sensor_with_a_driver_is_offered() -> None:
    gives = {
        name
        for name in driver_names()
        if find_spec(name).probe and "pressure" in find_spec(name).summary
    }
    offered = {sensor.driver for sensor in unseen_sensors(minimal=False).values()}
    assert offered == {each["sensor"].partition("@")[0] for each in SENSORS}  # type: ignore[attr-defined]
    assert offered >= gives - {"bme280", "bmp280"}
    assert {sensor.driver for sensor in unseen_sensors(minimal=True).values()} == {"sdp8xx"}


def test_what_is_to_be_taught_is_all_that_lint_misses(tmp_path: Path) -> None:
    out = written(tmp_path, MINIMAL | {"normal_pressure": "teach"}, "--minimal")
    done = CliRunner().invoke(app, ["lint", str(out), "--json"])
    assert [problem["key"] for problem in json.loads(done.stdout)["problems"]] == [
        "element.normal_pa"
    ]


def test_a_drawn_line_in_trade_units_can_be_sized(tmp_path: Path) -> None:
    out = written(tmp_path, WHOLE | LINE)
    table = tomllib.loads(out.read_text(encoding="utf-8"))
    assert table["fan"] == {"rated_airflow_l_min": 5663.37, "shut_off_pa": 373.633}
    assert table["duct"][0]["diameter_mm"] == 101.6
    assert table["duct"][0]["length_m"] == 6.096
    assert table["station"]["altitude_m"] == 304.8
    assert table["hood"]["outlet_cm2"] == 38.7096
    sized = CliRunner().invoke(app, ["size", str(out)])
    assert sized.exit_code in {ExitCode.FINE, ExitCode.FINDINGS}, sized.output


@pytest.mark.parametrize(
    ("kind", "unit", "factor"),
    [
        (Kind.WIDTH, "in", 25.4),
        (Kind.DISTANCE, "ft", 0.3048),
        (Kind.AREA, "in2", 6.4516),
        (Kind.FLOW, "cfm", 4.719_474e-4 * 60_000),
        (Kind.PRESSURE, "inH2O", 249.0889),
    ],
)
def test_units_against_nist_sp_811(kind: Kind, unit: str, factor: float) -> None:
    """NIST SP 811 (2008), appendix B.8, as printed there: from memory of its seven digits."""
    assert UNITS[kind][unit] == pytest.approx(factor, rel=2e-7)


def question(name: str) -> Question:
    return next(each for each in QUESTIONS if each.name == name)


@pytest.mark.parametrize(
    ("name", "answer", "why"),
    [
        ("id", "Loft", "made of a-z"),
        ("exit_time", "soon", "expected a number, 1 to 300 s"),
        ("exit_time", "301", "that is 301 s; expected 1 to 300 s"),
        ("exit_time", "nan", "expected a number"),
        ("normal_pressure", "30 inH2O", "that is 7473 Pa"),
        ("normal_pressure", "3 in", "or a number with inH2O"),
        ("sensor", "bmp280@0x76", "expected sdp8xx@0x25 or sdp8xx@0x26"),
        ("button_pin", "28", "0 to 27"),
        ("button_pin", "2", "belongs to the I2C bus"),
        ("siren_pin", "017", "0 to 27"),
        ("siren_pin", "17", "taken already, by button_pin"),
        ("duct_bends", "1.5", "a whole number"),
        ("orifice_pipe", "50", "wider than its hole of 50 mm"),
        ("oximeter", "02:00", "expected an address"),
        ("sensor_part", "HSC", "no part number of a differential or gauge HSC or SSC sensor"),
        ("sensor_high", "-3", "the upper end must be above the lower one"),
        ("required_airflow", "0.5 cfm", "that is 14.16 L/min; expected 20 to 2000 L/min"),
        ("broker_host", "my broker", "without spaces"),
        ("contacts", "Kim", "expected names made of a-z"),
        ("contacts", "kim kim", "only once"),
        ("second_boxes", "bench", "expected NAME:wearer or NAME:attendant"),
        ("recording", "perhaps", "expected yes or no"),
        ("broker_user", 'a\x07"b', "1 to 120 letters on one line"),
    ],
)
def test_a_bad_answer_is_refused_with_the_reason(name: str, answer: str, why: str) -> None:
    so_far = {"button_pin": "17", "orifice_bore": "50", "sensor_low": "-2"}
    with pytest.raises(Refused) as refused:
        accepted(question(name), answer, so_far, ("sdp8xx@0x25", "sdp8xx@0x26"))
    assert why in str(refused.value)


def test_it_asks_again_and_ends_with_the_next_command(tmp_path: Path) -> None:
    out = tmp_path / "shed.toml"
    typed = "\n\nlong\n30\n\n\n\n\n\n\n\n" + REASON + "\n"
    done = run("--minimal", "--no-search", "--out", out, typed=typed)
    assert (done.exit_code, done.exception) == (0, None), done.output
    assert "Not taken: expected a number, 1 to 300 s." in done.stdout
    assert "Not taken: expected 3 to 120 letters on one line." in done.stdout
    assert done.stdout.splitlines()[-1] == f"Next: linetender calibrate {out} --teach"
    assert out.read_text(encoding="utf-8").count(REASON) == 1
    assert "\x1b" not in done.stdout


def test_the_end_of_input_leaves_nothing_behind(tmp_path: Path) -> None:
    for count in range(9):
        typed = "".join(["\n\n7\n\n\n\n\n\n\n"[:count]])
        done = run("--minimal", "--no-search", "--out", tmp_path / "s.toml", typed=typed)
        assert done.exit_code == ExitCode.FINDINGS
        assert "Nothing was written" in done.stderr
        assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("taken", ["station.toml", "station.password"])
def test_nothing_is_written_over(tmp_path: Path, taken: str) -> None:
    (tmp_path / taken).write_text("mine", encoding="utf-8")
    given = answers_file(tmp_path, WHOLE)
    done = CliRunner().invoke(
        app,
        ["init", "--answers", str(given), "--no-search", "--out", str(tmp_path / "station.toml")],
    )
    assert isinstance(done.exception, ValueError)
    assert f"{taken}: this file is there already" in str(done.exception)
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted([given.name, taken])
    assert (tmp_path / taken).read_text(encoding="utf-8") == "mine"


def test_a_password_goes_into_a_file_of_its_own(tmp_path: Path) -> None:
    out = written(tmp_path, WHOLE)
    secret = tmp_path / "station.password"
    assert secret.read_text(encoding="utf-8") == "invented secret\n"
    assert stat.S_IMODE(secret.stat().st_mode) == 0o600
    assert "invented secret" not in out.read_text(encoding="utf-8")


def test_a_file_of_answers_is_refused_whole(tmp_path: Path) -> None:
    answers = {key: value for key, value in MINIMAL.items() if key != "lamp_pin"}
    answers |= {"colour": "red", "hook_pin": 6, "exit_time": "0 s", OPEN_HOOD: REASON}
    given = answers_file(tmp_path, answers)
    done = run("--minimal", "--no-search", "--answers", given, "--out", tmp_path / "s.toml")
    told = str(done.exception)
    assert isinstance(done.exception, ValueError), done.output
    assert "colour — there is no such question; the questions are id, arran" in told
    assert "hook_pin = 6 — this is not asked with the other answers" in told
    assert 'exit_time = "0 s" — that is 0 s; expected 1 to 300 s' in told
    assert "lamp_pin — this answer is missing" in told
    assert len(told.splitlines()) == 4
    assert not (tmp_path / "s.toml").exists()


def test_a_reason_is_wanted_only_where_the_way_is_long(tmp_path: Path) -> None:
    for answers, why in [
        (MINIMAL | {"exit_time": 60}, f"{OPEN_HOOD} — this answer is missing"),
        (MINIMAL | {OPEN_HOOD: REASON}, "this is not asked"),
    ]:
        given = answers_file(tmp_path, answers)
        done = run("--minimal", "--no-search", "--answers", given, "--out", tmp_path / "s.toml")
        assert why in str(done.exception)


def test_a_refused_password_is_not_shown(tmp_path: Path) -> None:
    given = answers_file(tmp_path, WHOLE | {"broker_password": "x\ty secret"})
    done = run("--no-search", "--answers", given, "--out", tmp_path / "s.toml")
    assert "broker_password" in str(done.exception)
    assert "secret" not in str(done.exception)


def test_questions_are_printed_within_80_columns() -> None:
    for options in ([], ["--minimal"]):
        done = run("--print-questions", *options)
        lines = done.stdout.splitlines()
        assert max(map(len, lines)) <= 80
        asked = [line.split(":")[0] for line in lines if not line.startswith(" ")]
        wanted = [each.name for each in QUESTIONS if each.minimal or not options]
        assert asked == wanted
    assert len(wanted) <= 10


def test_a_folder_that_is_not_there_is_told_before_any_question(tmp_path: Path) -> None:
    out = tmp_path / "gone" / "new.toml"
    done = CliRunner().invoke(app, ["init", "--no-search", "--out", str(out)])
    assert done.stdout == ""
    assert f"{out.parent}: there is no such folder to write into" in str(done.exception)
