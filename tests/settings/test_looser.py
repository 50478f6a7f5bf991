"""Which changes to a rule are looser and need a reason."""

import pytest

from linetender.settings.looser import looser_keys
from linetender.settings.rule_file import CONDITION_KEYS, RuleChange, RuleEntry

BASE = {"priority": "medium", "stages": ["worn", "pre_use"], "say": "Look.", "reason": "a test"}
BELOW = {"signal": "spo2_percent", "below": 90.0}
ABOVE = {"signal": "intake_co_ppm", "above": 10.0}
JUMP = {"above": 112.0, "from_below": 104.0, "until": 108.0, "within_s": 5.0}
FAR = {
    "fact": "far_end_confirmed",
    "subject": "each_far_end",
    "after_s": 15.0,
    "wearer_after_s": 6.0,
}

# base, tighter or equal change, looser change
DRIFT = {"reference": 100.0, "sigma": 2.0, "k": 0.5, "h": 10.0}
HEADING = {"below": 80.0, "within_s": 60.0, "over_s": 60.0}
RISING = {"above": 35.0, "within_s": 60.0, "over_s": 60.0}
CASES = [
    (BELOW, {"below": 91.0}, {"below": 89.9}),
    (ABOVE, {"above": 9.0}, {"above": 11.0}),
    ({**BELOW, "deadband": 2.0}, {"deadband": 3.0}, {"deadband": 1.0}),
    (BELOW, {"deadband": 1.0}, {"signal": "pulse_rate_bpm"}),
    ({**BELOW, "on_delay_s": 5.0}, {"on_delay_s": 4.0}, {"on_delay_s": 6.0}),
    (BELOW, {"on_delay_s": 0.0}, {"on_delay_s": 0.1}),
    ({**BELOW, "off_delay_s": 5.0}, {"off_delay_s": 6.0}, {"off_delay_s": 4.0}),
    (BELOW, {"priority": "high"}, {"priority": "low"}),
    ({**BELOW, "latching": True}, {"latching": True}, {"latching": False}),
    ({**BELOW, "killer": True}, {"killer": True}, {"killer": False}),
    ({**BELOW, "loss_of_air": True}, {"loss_of_air": True}, {"loss_of_air": False}),
    (BELOW, {"stages": ["idle", "worn", "pre_use"]}, {"stages": ["worn"]}),
    (BELOW, {"say": "Look there."}, {"suppressed_by": ["other"]}),
    ({**BELOW, "suppressed_by": ["a", "b"]}, {"suppressed_by": ["a"]}, {"suppressed_by": ["c"]}),
    ({**BELOW, "calls": ["a"]}, {"calls": ["b", "a"]}, {"calls": []}),
    (BELOW, {"realarm_s": 60.0}, {"realarm_s": 181.0}),
    (BELOW, {"realarm_s": 180.0}, {"realarm_s": 0.0}),
    (
        {**BELOW, "rises_to": {"priority": "high", "after_s": 30.0}},
        {"rises_to": {"priority": "high", "after_s": 20.0}},
        {"rises_to": {"priority": "high", "after_s": 40.0}},
    ),
    (
        {**BELOW, "arrangements": ["fan_side"]},
        {"arrangements": ["fan_side", "wearer_side"]},
        {"arrangements": ["wearer_side"]},
    ),
    (
        {"signal": "pulse_rate_bpm", "outside": [40.0, 150.0]},
        {"outside": [45.0, 140.0]},
        {"outside": [45.0, 160.0]},
    ),
    (
        {"signal": "spo2_percent", "below_baseline": 4.0, "also_below": 94.0, "normal_from": 95.0},
        {"below_baseline": 3.0, "also_below": 95.0, "normal_from": 94.0},
        {"below_baseline": 5.0},
    ),
    (
        {"signal": "spo2_percent", "below_baseline": 4.0, "also_below": 94.0, "normal_from": 95.0},
        {"technical": True},
        {"normal_from": 96.0},
    ),
    (
        {"signal": "spo2_percent", "falls": {"by": 4.0, "within_s": 60.0}},
        {"falls": {"by": 3.0, "within_s": 90.0}},
        {"falls": {"by": 4.0, "within_s": 30.0}},
    ),
    (
        {"signal": "air_percent_of_baseline", "jumps": JUMP},
        {"jumps": {**JUMP, "above": 110.0}},
        {"jumps": {**JUMP, "within_s": 4.0}},
    ),
    (
        {"signal": "air_percent_of_baseline", "drift": DRIFT},
        {"drift": {**DRIFT, "h": 9.0, "k": 0.4}},
        {"drift": {**DRIFT, "sigma": 3.0}},
    ),
    (
        {"signal": "air_percent_of_baseline", "drift": DRIFT},
        {"drift": {**DRIFT, "sigma": 1.5}},
        {"drift": {**DRIFT, "reference": 95.0}},
    ),
    (
        {"signal": "air_percent_of_baseline", "heading": HEADING},
        {"heading": {**HEADING, "below": 85.0, "within_s": 90.0}},
        {"heading": {**HEADING, "within_s": 30.0}},
    ),
    (
        {"signal": "air_percent_of_baseline", "heading": HEADING},
        {"heading": {**HEADING, "below": 80.5}},
        {"heading": {**HEADING, "smoothing": 0.5}},
    ),
    (
        {"signal": "intake_co_ppm", "heading": RISING},
        {"heading": {**RISING, "above": 30.0}},
        {"heading": {**RISING, "above": 36.0}},
    ),
    (
        {"signal": "hood_pressure_pa", "percent_of_taught": 150.0},
        {"percent_of_taught": 140.0},
        {"percent_of_taught": 160.0},
    ),
    (
        {"signal": "spo2_percent", "stale": {"after_s": 30.0}},
        {"stale": {"after_s": 20.0}},
        {"stale": {"after_s": 20.0, "followed": "spo2_falling"}},
    ),
    (
        {"held": {"contact": "answer", "after_s": 2.0}},
        {"held": {"contact": "answer", "after_s": 1.5}},
        {"held": {"contact": "hook", "after_s": 2.0}},
    ),
    ({"fact_stale": FAR}, {"fact_stale": {**FAR, "after_s": 10.0}},
     {"fact_stale": {**FAR, "wearer_after_s": 7.0}}),
    ({"contact": "fan_mains", "when": "open"}, {"contact": "fan_mains"}, {"when": "broken"}),
    ({"fact": "storage_failed"}, {"fact": "storage_failed"}, {"subject": "sd_card"}),
]  # fmt: skip


def _found(base: dict[str, object], change: dict[str, object]) -> list[str]:
    entry = RuleEntry.model_validate({**BASE, **base})
    changed = RuleChange.model_validate(change).changed
    return looser_keys(entry, entry.model_copy(update=changed), tuple(changed))


@pytest.mark.parametrize(("base", "tighter", "looser"), CASES)
def test_only_the_looser_change_is_found(
    base: dict[str, object], tighter: dict[str, object], looser: dict[str, object]
) -> None:
    assert _found(base, tighter) == []
    assert set(_found(base, looser)) <= set(looser)
    assert _found(base, looser) != []


def test_every_condition_but_combinations_can_be_compared() -> None:
    compared = {key for base, *_ in CASES for key in base if key in CONDITION_KEYS}
    assert set(CONDITION_KEYS) - compared == {
        "above_baseline",  # as below_baseline
        "rises",  # as falls
        "stuck",  # as check_in_missed: after_s alone
        "check_in_missed",
        "any_of",  # any change of a combination counts as looser
        "all_of",
    }
    parts = {"any_of": [BELOW, ABOVE]}
    assert _found(parts, {"any_of": [BELOW]}) == ["any_of"]
    for key in ("stuck", "check_in_missed"):
        base = {key: {"after_s": 30.0}}
        assert _found(base, {key: {"after_s": 31.0}}) == [key]
        assert _found(base, {key: {"after_s": 29.0}}) == []
