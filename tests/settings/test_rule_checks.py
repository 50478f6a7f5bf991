"""What must hold between the keys of one rule."""

import pytest

from linetender.settings.rule_checks import faults_of_rule
from linetender.settings.rule_file import RuleEntry

BASE = {"priority": "medium", "stages": ["worn"], "say": "Look.", "reason": "a test"}
SPO2 = {"signal": "spo2_percent"}
AIR = {"signal": "air_percent_of_baseline"}
JUMP = {"above": 112.0, "from_below": 104.0, "until": 108.0, "within_s": 5.0}

DRIFT = {"reference": 100.0, "sigma": 2.0, "k": 0.5, "h": 10.0}
HEADING = {"below": 80.0, "within_s": 60.0, "over_s": 60.0}
BRIEF = {**HEADING, "within_s": 9.0}
CASES = [
    # the rule, the place of the fault, part of what was expected
    ({}, (), "exactly one condition"),
    ({**SPO2, "below": 90.0, "above": 95.0}, (), "below and above given"),
    ({"below": 90.0}, (), "below needs a signal"),
    ({"contact": "answer"}, (), "contact needs when"),
    ({**SPO2, "contact": "answer", "when": "open"}, ("signal",), "contact takes no signal"),
    ({"stale": {"after_s": 3.0}}, (), "signal or signals"),
    ({**SPO2, "signals": ["spo2_percent"], "stale": {"after_s": 3.0}}, (), "one of them"),
    ({**SPO2, "signals": ["spo2_percent"], "below": 90.0}, ("signals",), "only stale"),
    ({**SPO2, "below": 90.0, "when": "open"}, ("when",), "belongs to contact"),
    ({**SPO2, "below": 90.0, "also_below": 3.0}, ("also_below",), "belongs"),
    ({**SPO2, "below_baseline": 4.0, "also_below": 94.0}, (), "belong together"),
    ({**SPO2, "below": "required"}, ("below",), "must be airflow_l_min"),
    (
        {"signal": "airflow_l_min", "below": "required", "deadband": 3.0},
        ("deadband",),
        "the deadband is in %",
    ),
    ({**SPO2, "below": 90.0, "deadband_percent": 3.0}, ("deadband_percent",), '"required"'),
    ({**SPO2, "below": 99.0, "deadband": 2.0}, ("below",), "would clear at 101 %"),
    ({**AIR, "below": -1.0}, ("below",), "could never be present"),
    ({"signal": "intake_co_ppm", "above": 2.0, "deadband": 2.0}, ("deadband",), "never clear"),
    ({**SPO2, "outside": [90.0, 92.0], "deadband": 2.0}, ("outside",), "never clear"),
    ({**SPO2, "outside": [92.0, 90.0]}, ("outside",), "wider than two deadbands"),
    ({**SPO2, "below_baseline": 4.0, "deadband": 4.0}, ("deadband",), "may never clear"),
    ({**AIR, "jumps": {**JUMP, "until": 113.0}}, ("jumps", "until"), "not over above"),
    ({**AIR, "jumps": {**JUMP, "from_below": 113.0}}, ("jumps", "from_below"), "not over above"),
    ({**SPO2, "stale": {"after_s": 3.0}, "on_delay_s": 1.0}, ("on_delay_s",), "expected 0"),
    ({**AIR, "stuck": {"after_s": 3.0}, "on_delay_s": 1.0}, ("on_delay_s",), "expected 0"),
    ({**SPO2, "below": 90.0, "killer": True, "realarm_s": 0.0}, ("realarm_s",), "at most 15 s"),
    ({**SPO2, "below": 90.0, "killer": True, "suppressed_by": ["a"]}, ("suppressed_by",), "killer"),
    (
        {**SPO2, "below": 90.0, "rises_to": {"priority": "medium", "after_s": 3.0}},
        ("rises_to",),
        "a priority over that of the raise (medium)",
    ),
    ({**AIR, "drift": {**DRIFT, "h": 2.0}}, ("drift", "h"), "chance alone would make it present"),
    ({**AIR, "drift": {**DRIFT, "reference": "baseline"}}, ("drift", "reference"), "wearer's"),
    ({**AIR, "drift": DRIFT, "deadband": 1.0}, ("deadband",), "not to drift"),
    ({**AIR, "heading": {"within_s": 60.0, "over_s": 60.0}}, ("heading",), "one of them"),
    ({**AIR, "heading": {**HEADING, "above": 3.0}}, ("heading",), "one of them"),
    (
        {**SPO2, "heading": {**HEADING, "within_s": 9.0, "over_s": 10.0}},
        ("heading", "over_s"),
        "12 windows",
    ),
    ({**AIR, "heading": {**HEADING, "within_s": 301.0}}, ("heading", "within_s"), "so far ahead"),
    ({**AIR, "heading": {**HEADING, "below": 0.0}}, ("heading", "below"), "never be present"),
    (
        {**SPO2, "heading": {**HEADING, "below": 99.0}, "deadband": 2.0},
        ("heading", "below"),
        "over 100 %",
    ),
    ({"any_of": [{**SPO2, "below": 90.0}, {"below": 3.0}]}, ("any_of", 1), "needs a signal"),
]


@pytest.mark.parametrize(("rule", "place", "expected"), CASES)
def test_each_fault_is_found_alone(
    rule: dict[str, object], place: tuple[str | int, ...], expected: str
) -> None:
    (fault,) = faults_of_rule(RuleEntry.model_validate({**BASE, **rule}))
    assert fault.path == place
    assert expected in fault.expected
    assert fault.remedy


@pytest.mark.parametrize(
    "rule",
    [
        {**SPO2, "below": 98.0, "deadband": 2.0},
        {**AIR, "below": 110.0, "deadband": 5.0},
        {**AIR, "jumps": JUMP},
        {**AIR, "drift": DRIFT},
        {**AIR, "drift": {"reference": 100.0, "k": 8.0, "h": 300.0}},
        {**SPO2, "drift": {**DRIFT, "reference": "baseline", "side": "both"}},
        {**AIR, "heading": HEADING, "deadband": 5.0},
        {"signal": "air_pressure_pa", "heading": HEADING},
        {"signal": "airflow_l_min", "below": "required", "deadband_percent": 5.0},
        {"signal": "ambient_temperature_c", "above": -5.0, "deadband": 2.0},
        {"all_of": [{**SPO2, "below": 90.0}, {"fact": "storage_failed", "subject": "disk"}]},
    ],
)
def test_sound_rules_have_no_fault(rule: dict[str, object]) -> None:
    assert faults_of_rule(RuleEntry.model_validate({**BASE, **rule})) == []
