"""Whatever is wrong with a station file is told with its line, key, range and remedy."""

import os

import pytest

from linetender.settings.load import load_station
from linetender.settings.problems import StationFileError
from settings.station_texts import (
    AIR,
    ANSWER,
    ELEMENT,
    HANDS,
    OXIMETER,
    STATION,
    WHOLE,
    load,
    refusal,
)

FITTED = '[element]\nkind = "fitted"\nk = 20\nn = 0.55\n'

CASES = {
    # what is written: (line, key, value, part of what was expected, part of the remedy)
    "unknown key": (
        WHOLE.replace("exit_time_s = 7", "exit_tme_s = 7"),
        (5, "station.exit_tme_s", "7", "no such key", 'did you mean "exit_time_s"?'),
    ),
    "key with a line end": (
        WHOLE.replace("exit_time_s = 7", '"exit\\ntime" = "caf\u00e9\\n"'),
        (
            5,
            'station."exit\\ntime"',
            '"caf\u00e9\\n"',
            "no such key",
            'did you mean "exit_time_s"?',
        ),
    ),
    "unknown table": (
        WHOLE + "[brocker]\nhost = 'x'\n",
        (21, "brocker", "", "no such key", 'did you mean "broker"?'),
    ),
    "out of range": (
        WHOLE.replace("exit_time_s = 7", "exit_time_s = 900"),
        (5, "station.exit_time_s", "900", "from 1 to 300", "change it"),
    ),
    "nan": (
        WHOLE.replace("normal_pa = 60", "normal_pa = nan"),
        (8, "element.normal_pa", "nan", "from 0.5 to 5000", "change it"),
    ),
    "infinity": (
        WHOLE.replace("normal_pa = 60", "normal_pa = inf"),
        (8, "element.normal_pa", "inf", "from 0.5 to 5000", "change it"),
    ),
    "text for a number": (
        WHOLE.replace("normal_pa = 60", 'normal_pa = "60"'),
        (8, "element.normal_pa", '"60"', "Pa, from 0.5 to 5000", "change it"),
    ),
    "truth for a number": (
        WHOLE.replace("normal_pa = 60", "normal_pa = true"),
        (8, "element.normal_pa", "true", "from 0.5 to 5000", "change it"),
    ),
    "a huge integer": (
        WHOLE.replace("normal_pa = 60", "normal_pa = 1" + "0" * 400),
        (8, "element.normal_pa", "1000", "from 0.5 to 5000", "change it"),
    ),
    "enum": (
        WHOLE.replace("wearer_side", "wearers_side"),
        (4, "station.arrangement", '"wearers_side"', '"fan_side" or "wearer_side"', "wearer_side"),
    ),
    "element kind": (
        WHOLE.replace("hood_hose", "orifise"),
        (7, "element.kind", '"orifise"', '"orifice"', "change it"),
    ),
    "key of another element": (
        WHOLE.replace("normal_pa = 60", "normal_pa = 60\nbore_mm = 50"),
        (9, "element.bore_mm", "50", "known are kind, normal_pa", "remove it"),
    ),
    "element without kind": (
        STATION + "[element]\nnormal_pa = 60\n" + AIR,
        (6, "element.kind", "", "missing; expected a table with kind", "add it"),
    ),
    "missing table": (
        "schema = 1\n" + ELEMENT + AIR,
        (None, "station", "", "missing; expected a table: id, arrangement", "add it"),
    ),
    "missing key": (
        WHOLE.replace('id = "shed"\n', ""),
        (2, "station.id", "", "missing; expected a short name", "add it"),
    ),
    "version of the form": (
        WHOLE.replace("schema = 1", "schema = 2"),
        (1, "schema", "2", "version of the file's form: 1", "change it"),
    ),
    "kind of file": (
        'kind = "sounder"\n' + WHOLE,
        (1, "kind", '"sounder"', '"station"', "change it"),
    ),
    "signal": (
        WHOLE.replace("hood_pressure_pa", "hood_presure_pa"),
        (11, "devices.air.signals[0]", '"hood_presure_pa"', "signals", "hood_pressure_pa"),
    ),
    "signal of another sensor": (
        WHOLE.replace("hood_pressure_pa", "spo2_percent"),
        (11, "devices.air.signals[0]", '"spo2_percent"', "can give duct_pressure_pa", "name one"),
    ),
    "derived signal": (
        WHOLE.replace('["hood_pressure_pa"]', '["hood_pressure_pa", "airflow_l_min"]'),
        (11, "devices.air.signals[1]", '"airflow_l_min"', "no device gives it", "name one of"),
    ),
    "driver": (
        WHOLE.replace('"sdp8xx"', '"sdp8x"'),
        (10, "devices.air.driver", '"sdp8x"', "no driver is called", 'did you mean "sdp8xx"?'),
    ),
    "driver option unknown": (
        WHOLE.replace("address = 0x25", "addres = 0x25"),
        (12, "devices.air.options.addres", "37", "known are address, average, bus", '"address"'),
    ),
    "driver option out of range": (
        WHOLE.replace("no_gpio = 17", "no_gpio = 99"),
        (16, "devices.answer.options.no_gpio", "99", "less than or equal to 27", "change it"),
    ),
    "driver options that contradict": (
        WHOLE.replace("nc_gpio = 27", "nc_gpio = 17"),
        (16, "devices.answer.options", "", "are the same line", "change it"),
    ),
    "role of another kind": (
        WHOLE.replace('contact = "answer"', 'contact = "answer"\noutput = "buzzer"'),
        (16, "devices.answer.output", '"buzzer"', "of the kind input", "remove it"),
    ),
    "no role": (
        WHOLE.replace('contact = "answer"\n', ""),
        (13, "devices.answer", "", "contact is missing", "add contact"),
    ),
    "rule that is not there": (
        WHOLE + "[rules.change.air_lst]\non_delay_s = 1\n",
        (21, "rules.change.air_lst", "", "has no rule of this name", 'did you mean "air_lost"?'),
    ),
    "change of another condition": (
        WHOLE + "[rules.change.air_lost]\nabove = 90\n",
        (22, "rules.change.air_lost.above", "90", "which is below", "rule file of your own"),
    ),
    "looser without a reason": (
        WHOLE + "[rules.change.air_lost]\nbelow = 50\n",
        (22, "rules.change.air_lost.below", "50", "looser than the base rule", "add reason"),
    ),
    "change that cannot clear": (
        WHOLE + OXIMETER + "[rules.change.spo2_low]\nbelow = 99\n",
        (26, "rules.change.spo2_low.below", "99", "would clear at 101 %", "lower the limit"),
    ),
    "killer answered for too long": (
        WHOLE + "[rules.change.air_lost]\nrealarm_s = 60\nreason = 'quiet please'\n",
        (22, "rules.change.air_lost.realarm_s", "60", "at most 15 s", "shorten it"),
    ),
    "suppressed killer": (
        WHOLE + "[rules.change.air_lost]\nsuppressed_by = ['blind']\nreason = 'quiet'\n",
        (22, "rules.change.air_lost.suppressed_by", "['blind']", "nothing may suppress", "remove"),
    ),
    "call to nobody": (
        WHOLE + "[rules.change.air_lost]\ncalls = ['bob']\n",
        (22, "rules.change.air_lost.calls", "['bob']", "no [[contacts]]", "add it there"),
    ),
    "rule set of another name": (
        WHOLE + "[rules]\nbase = 'strict'\n",
        (22, "rules.base", '"strict"', '"default" or the path', "change it"),
    ),
    "bore": (
        STATION
        + '[element]\nkind = "orifice"\nbore_mm = 60\npipe_mm = 50\n'
        + AIR.replace("hood_", "duct_"),
        (8, "element.bore_mm", "60", "less than the pipe's 50 mm", "change one"),
    ),
    "two boxes of one name": (
        WHOLE + 2 * '[[far_end]]\nname = "bench"\nrole = "wearer"\n',
        (25, "far_end[1].name", '"bench"', "a name of its own", "rename"),
    ),
    "role of a box": (
        WHOLE + '[[far_end]]\nname = "bench"\nrole = "warer"\n',
        (23, "far_end[0].role", '"warer"', '"wearer" or "attendant"', 'did you mean "wearer"?'),
    ),
    "exception that is never granted": (
        WHOLE + '[[exceptions]]\nfinding = "two_sources"\nreason = "why not"\n',
        (
            22,
            "exceptions[0].finding",
            '"two_sources"',
            "nobody could say which",
            "change or remove",
        ),
    ),
    "fact that nobody reports": (
        WHOLE + '[rules.change.storage_failed]\nfact = "storage_faild"\nreason = "a test"\n',
        (
            22,
            "rules.change.storage_failed.fact",
            '"storage_faild"',
            "name of a fact: device_failed, ",
            'did you mean "storage_failed"?',
        ),
    ),
    "exception of an unknown name": (
        WHOLE + '[[exceptions]]\nfinding = "two_soures"\nreason = "why not"\n',
        (22, "exceptions[0].finding", '"two_soures"', "can be granted", "change or remove"),
    ),
}

UNSAFE = {
    "two sources of one signal": (
        WHOLE + AIR.replace("devices.air", "devices.spare").replace("0x25", "0x26"),
        ("two_sources", 23, "devices.spare.signals[0]", "one source for each signal"),
    ),
    "one role twice": (
        WHOLE + ANSWER.replace("devices.answer", "devices.b").replace("17", "5").replace("27", "6"),
        ("role_twice", 23, "devices.b.contact", '"answer" is it already'),
    ),
    "one pin twice": (
        WHOLE + '[devices.lamp]\ndriver = "gpio_lamp"\noutput = "lamp_red"\n'
        'options = { chip = "simulated", gpio = 27 }\n',
        ("line_twice", 24, "devices.lamp.options.gpio", "GPIO 27 of the chip simulated is taken"),
    ),
    "a supply switch on a pin that is taken": (
        WHOLE + '[devices.filter]\ndriver = "sdp8xx"\nsignals = ["filter_pressure_pa"]\n'
        'options = { bus = "simulated", address = 0x26, power_gpio = 27 }\n',
        ("line_twice", 24, "devices.filter.options.power_gpio", "GPIO 27 of the chip simulated"),
    ),
    "one address twice": (
        WHOLE + AIR.replace("devices.air", "devices.filter").replace("hood_", "filter_"),
        ("line_twice", 24, "devices.filter.options.address", "address 0x25 of the bus simulated"),
    ),
    "no normal": (
        WHOLE.replace("normal_pa = 60\n", ""),
        ("no_normal", 6, "element.normal_pa", "line's own normal"),
    ),
    "no element": (
        STATION + AIR + HANDS,
        ("no_normal", None, "element", "[element] is missing"),
    ),
    "calibrated, with neither normal nor required airflow": (
        STATION + FITTED + AIR + HANDS,
        ("no_normal", 6, "element.normal_pa", "normal_pa is missing"),
    ),
    "an orifice whose pressure nothing gives": (
        STATION
        + '[element]\nkind = "orifice"\nnormal_pa = 60\nbore_mm = 50\npipe_mm = 90\n'
        + AIR
        + HANDS,
        ("no_element_pressure", 7, "element.kind", "no device gives the pressure across it"),
    ),
    "an oximeter alone": (
        STATION + OXIMETER + HANDS,
        ("no_loss_of_air_rule", None, "rules", "air is NOT watched"),
    ),
    "no rule for blindness": (
        WHOLE + '[rules.change.blind]\nloss_of_air = false\nreason = "bad"\n',
        ("no_blind_rule", 21, "rules", "no longer seen"),
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_each_mistake_is_told_with_line_key_and_remedy(name: str, tmp_path) -> None:
    text, (line, key, value, expected, remedy) = CASES[name]
    (problem,) = refusal(tmp_path, text)
    assert (problem.file, problem.line, problem.key) == (str(tmp_path / "shed.toml"), line, key)
    assert problem.value == value or (value and problem.value.startswith(value))
    assert expected in problem.expected
    assert remedy in problem.remedy


@pytest.mark.parametrize("name", UNSAFE)
def test_each_unsafe_station_is_refused_by_name(name: str, tmp_path) -> None:
    text, (finding, line, key, expected) = UNSAFE[name]
    (problem,) = refusal(tmp_path, text)
    assert (problem.name, problem.line, problem.key) == (finding, line, key)
    assert expected in problem.expected
    assert problem.remedy


def test_an_exception_with_a_reason_lets_an_oximeter_watch_alone(tmp_path) -> None:
    granted = '[[exceptions]]\nfinding = "no_loss_of_air_rule"\nreason = "trying the clip"\n'
    station = load(tmp_path, STATION + OXIMETER + HANDS + granted)
    assert [finding.name for finding in station.findings] == ["no_loss_of_air_rule"]
    assert station.plan.exceptions == ("no_loss_of_air_rule: trying the clip",)
    assert station.plan.air is None


def test_rules_that_suppress_each_other_are_refused(tmp_path) -> None:
    changes = (
        '[rules.change.air_falling]\nsuppressed_by = ["air_stuck"]\nreason = "one of two"\n'
        '[rules.change.air_stuck]\nsuppressed_by = ["air_falling"]\nreason = "two of two"\n'
    )
    problems = refusal(tmp_path, WHOLE + changes)
    assert [(each.name, each.line) for each in problems] == [
        ("circular_suppression", 22),
        ("circular_suppression", 25),
    ]


def test_all_mistakes_are_told_at_once_in_the_order_of_the_file(tmp_path) -> None:
    text = WHOLE.replace("sdp8xx", "sdp9xx").replace("no_gpio = 17", "no_gpio = -1")
    problems = refusal(tmp_path, text + "[rules.change.x]\n")
    assert [problem.line for problem in problems] == [10, 16, 21]


def test_a_message_reads_as_one_line(tmp_path) -> None:
    (problem,) = refusal(tmp_path, WHOLE.replace("normal_pa = 60", "normal_pa = 0"))
    assert str(problem) == (
        f"{tmp_path}/shed.toml:8: element.normal_pa = 0 — expected pressure across the element "
        "in normal use, Pa, from 0.5 to 5000; change it"
    )


@pytest.mark.parametrize(
    ("content", "line", "expected"),
    [
        (b"schema = 1\nstation = {", 2, "not valid TOML"),
        (b"schema = 1\nid = \n", 2, "not valid TOML"),
        (b"schema = 1\n[station\n", 2, "not valid TOML"),
        (b'schema = 1\nid = "abc', 2, "not valid TOML"),
        (b"schema = 1\nschema = 2\n", 2, "not valid TOML"),
        (b"schema = 1\n# caf\xe9\n", 2, "UTF-8"),
        (b"schema = 1" + b"0" * 5000, None, "not valid TOML"),
        (b"a = " + b"[" * 5000, None, "nested too deeply"),
        (b"\x00", 1, "not valid TOML"),
        (b"#" * 1_000_001, None, "larger than"),
        (b"", None, "missing"),
    ],
)
def test_garbled_files(content: bytes, line: int | None, expected: str, tmp_path) -> None:
    path = tmp_path / "shed.toml"
    path.write_bytes(content)
    with pytest.raises(StationFileError) as caught:
        load_station(path)
    assert caught.value.problems[0].line == line
    assert expected in caught.value.problems[0].expected
    assert not caught.value.is_only_unsafe


def test_missing_files_directories_and_pipes(tmp_path) -> None:
    os.mkfifo(tmp_path / "pipe")
    told = {}
    for name in ("none.toml", ".", "pipe", "a\0b"):
        with pytest.raises(StationFileError) as caught:
            load_station(tmp_path / name)
        told[name] = caught.value.problems[0].expected.partition(" (")[0]
    assert told == {
        "none.toml": "there is no such file",
        ".": "this is a directory, a file was expected",
        "pipe": "this is not a plain file",
        "a\0b": "the file cannot be read",
    }


def test_a_rule_file_of_ones_own_is_named_in_messages(tmp_path) -> None:
    (tmp_path / "mine.toml").write_text(
        'schema = 1\n[rule.a]\nsignal = "hood_pressure_pa"\npriority = "hgh"\n'
        'stages = ["worn"]\nsay = "Look."\nreason = "a test"\n'
    )
    problems = refusal(tmp_path, WHOLE + '[rules]\nbase = "mine.toml"\n')
    assert [(each.file, each.line, each.key) for each in problems] == [
        (str(tmp_path / "mine.toml"), 4, "rule.a.priority")
    ]
