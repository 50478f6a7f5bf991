"""Every station file and rule file that is shipped loads, and compiles to plain data."""

import msgspec
import pytest

from linetender.core.plan import Plan, RulePlan
from linetender.settings.load import load_station
from linetender.settings.rule_checks import faults_of_rule
from linetender.settings.rule_file import RuleSet
from linetender.settings.shipped import shipped
from linetender.settings.toml_file import read_toml

EXAMPLES = tuple(sorted(shipped("config").glob("*.toml")))
RULE_SETS = tuple(sorted(shipped("config/rules").glob("*.toml")))


def _ids(rules: tuple[RulePlan, ...]) -> list[str]:
    return [rule.id for rule in rules]


def _containers(part: object) -> list[type]:
    if isinstance(part, msgspec.Struct):
        inner = [getattr(part, name) for name in part.__struct_fields__]
    elif isinstance(part, tuple | list | set | frozenset | dict):
        inner = list(part)
    else:
        return []
    return [type(part), *(kind for each in inner for kind in _containers(each))]


def test_the_examples_are_there() -> None:
    assert [path.name for path in EXAMPLES] == [
        "demo.toml",
        "fan_side_orifice.toml",
        "wearer_side_calibrated.toml",
        "wearer_side_minimal.toml",
    ]


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_each_example_loads_and_its_plan_survives_json(path) -> None:
    plan = load_station(path).plan
    assert msgspec.json.decode(msgspec.json.encode(plan), type=Plan) == plan
    assert not {set, frozenset, dict, list} & set(_containers(plan))


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_each_example_compiles_to_the_same_bytes_again(path) -> None:
    first, second = (msgspec.json.encode(load_station(path).plan) for _ in range(2))
    assert first == second


@pytest.mark.parametrize("path", RULE_SETS, ids=lambda path: path.stem)
def test_each_rule_set_is_sound(path) -> None:
    rules = RuleSet.model_validate(read_toml(path).data)
    assert {rule_id: faults_of_rule(entry) for rule_id, entry in rules.rule.items()} == {
        rule_id: [] for rule_id in rules.rule
    }


def test_the_smallest_set_up_has_only_rules_for_its_parts() -> None:
    plan = load_station(shipped("config/wearer_side_minimal.toml")).plan
    assert _ids(plan.rules) == [
        "air_lost",
        "air_falling",
        "air_heading",
        "hood_pressure_high",
        "hood_pressure_raised",
        "air_invalid",
        "air_stuck",
        "blind",
        "help",
        "button_wire_broken",
        "not_checked",
        "resumed",
        "power_cut_unanswered",
        "output_failed_siren",
        "output_failed_lamp",
        "storage_failed",
        "clock_unsynchronised",
    ]
    assert plan.contacts == ("answer",)
    assert plan.check_in is None


def test_beside_the_fan_there_are_jump_mains_and_one_rule_per_second_box() -> None:
    plan = load_station(shipped("config/fan_side_orifice.toml")).plan
    ids = _ids(plan.rules)
    assert [each for each in ids if each.startswith("far_end")] == [
        "far_end_unconfirmed_bench",
        "far_end_unconfirmed_kitchen",
    ]
    assert {"fan_mains_lost", "air_jump", "check_in_missed", "check_in_missed_late"} <= set(ids)
    assert "hood_pressure_high" not in ids
    assert "air_low" not in ids


def test_no_private_field_is_shown() -> None:
    station = load_station(shipped("config/fan_side_orifice.toml"))
    shown = msgspec.json.encode(station.shown).decode()
    for private in ("02:00:5E", "linetender-boat-shop", "broker.password"):
        assert private not in shown.replace('"broker.password_file"', "")
    assert station.shown["left_out"] == [
        "broker.user",
        "broker.password_file",
        "devices.oximeter.options.address",
    ]
    assert station.shown["station"]["id"] == "boat-shop"


def test_paths_in_a_station_file_start_at_its_folder() -> None:
    station = load_station(shipped("config/fan_side_orifice.toml"))
    folder = shipped("config").resolve()
    assert station.recording_directory == folder / "sessions"
    assert station.broker is not None
    assert station.broker.password_file == str(folder / "broker.password")


def test_the_demo_names_simulated_devices_only() -> None:
    station = load_station(shipped("config/demo.toml"))
    assert {device.name: device.options.is_simulated for device in station.devices} == {
        "air": True,
        "oximeter": True,
        "answer": True,
        "buzzer": True,
        "lamp_green": True,
        "lamp_red": True,
    }
