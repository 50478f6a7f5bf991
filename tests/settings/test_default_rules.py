"""The default rule set against the table it was chosen by."""

import pytest

from linetender.core.plan import Arrangement
from linetender.core.stages import Priority, Stage
from linetender.settings.looser import default_realarm_s
from linetender.settings.rule_file import RuleEntry, RuleSet
from linetender.settings.rules import arrangements_of
from linetender.settings.shipped import shipped
from linetender.settings.toml_file import read_toml

RULES = RuleSet.model_validate(read_toml(shipped("config/rules/default.toml")).data).rule

H, M, L = Priority.HIGH, Priority.MEDIUM, Priority.LOW

# id: (condition, priority, on delay s, off delay s, latching), as the project chose them.
TABLE = {
    "fan_mains_lost": ("contact", H, 0, 5, True),
    "air_lost": ("below", H, 2, 5, True),
    "air_low": ("below", M, 5, 15, False),
    "air_falling": ("below", M, 10, 15, False),
    "air_heading": ("heading", M, 10, 2, False),
    "air_jump": ("jumps", H, 2, 15, True),
    "hood_pressure_high": ("percent_of_taught", H, 3, 10, False),
    "hood_pressure_raised": ("percent_of_taught", M, 10, 15, False),
    "air_invalid": ("stale", M, 0, 5, False),
    "air_stuck": ("stuck", M, 0, 10, False),
    "blind": ("stale", H, 0, 5, True),
    "spo2_very_low": ("below", H, 5, 15, True),
    "spo2_low": ("below", H, 10, 15, True),
    "spo2_falling": ("below_baseline", M, 20, 30, False),
    "pulse_out_of_range": ("outside", M, 15, 30, False),
    "spo2_invalid": ("stale", M, 0, 10, False),
    "spo2_lost_after_fall": ("stale", H, 0, 10, False),
    "co_at_intake": ("above", M, 60, 60, True),
    "co_at_intake_high": ("above", H, 10, 60, True),
    "co_contact": ("contact", H, 0, 60, True),
    "hood_co2": ("above", M, 30, 30, False),
    "hood_co2_high": ("above", H, 0, 30, False),
    "help": ("held", H, 0, 0, True),
    "button_wire_broken": ("contact", M, 0, 5, False),
    "not_checked": ("fact", M, 0, 0, False),
    "check_in_missed": ("check_in_missed", M, 0, 0, False),
    "check_in_missed_late": ("check_in_missed", H, 0, 0, True),
    "resumed": ("fact", M, 0, 0, False),
    "power_cut_unanswered": ("fact", H, 0, 0, True),
    "far_end_unconfirmed": ("fact_stale", M, 0, 10, False),
    "delivery_unconfirmed": ("fact_stale", M, 0, 10, False),
    "delivery_refused": ("fact", M, 0, 10, False),
    "broker_lost": ("fact", L, 0, 10, False),
    "output_failed": ("fact", M, 5, 5, False),
    "device_failed": ("fact", L, 30, 10, False),
    "oximeter_battery_low": ("below", L, 30, 60, False),
    "supply_low": ("below", M, 30, 60, False),
    "storage_failed": ("fact", L, 30, 60, False),
    "clock_unsynchronised": ("fact", L, 30, 60, False),
    "commands_unguarded": ("fact", L, 0, 10, False),
}

KILLERS = {
    "fan_mains_lost",
    "air_lost",
    "air_jump",
    "blind",
    "spo2_very_low",
    "help",
    "check_in_missed_late",
    "power_cut_unanswered",
}


def _row(rule: RuleEntry) -> tuple[str, Priority, float, float, bool]:
    (condition,) = rule.condition_keys
    on_s, off_s = rule.on_delay_s or 0.0, rule.off_delay_s or 0.0
    return condition, rule.priority, on_s, off_s, bool(rule.latching)


def test_the_table() -> None:
    assert {rule_id: _row(rule) for rule_id, rule in RULES.items()} == TABLE


def test_limits_and_deadbands() -> None:
    assert {
        rule_id: (rule.below if rule.above is None else rule.above, rule.deadband)
        for rule_id, rule in RULES.items()
        if rule.condition_keys in (("below",), ("above",))
    } == {
        "air_lost": (65.0, 10.0),
        "air_low": ("required", None),
        "air_falling": (80.0, 5.0),
        "spo2_very_low": (85.0, 2.0),
        "spo2_low": (90.0, 2.0),
        "co_at_intake": (10.0, 2.0),
        "co_at_intake_high": (35.0, 2.0),
        "hood_co2": (10_000.0, 1_000.0),
        "hood_co2_high": (30_000.0, 1_000.0),
        "oximeter_battery_low": (20.0, 5.0),
        "supply_low": (4.75, 0.1),
    }


def test_a_pulse_of_40_or_150_is_out_of_range() -> None:
    rule = RULES["pulse_out_of_range"]
    assert (rule.outside, rule.deadband) == ((40.0, 150.0), 5.0)


def test_a_slow_loss_is_told_two_minutes_before_it_is_falling_air() -> None:
    rule, falling = RULES["air_heading"], RULES["air_falling"]
    assert rule.heading is not None
    assert (rule.heading.below, rule.deadband) == (falling.below, falling.deadband)
    assert (rule.heading.within_s, rule.heading.over_s, rule.heading.smoothing) == (120, 120, 0.2)
    assert rule.stages == falling.stages


def test_killers_and_loss_of_air() -> None:
    assert {rule_id for rule_id, rule in RULES.items() if rule.killer} == KILLERS
    assert {rule_id for rule_id, rule in RULES.items() if rule.loss_of_air} == {
        "fan_mains_lost",
        "air_lost",
        "blind",
    }
    assert all(RULES[rule_id].latching and RULES[rule_id].priority is H for rule_id in KILLERS)


def test_suppression() -> None:
    assert {
        rule_id: rule.suppressed_by for rule_id, rule in RULES.items() if rule.suppressed_by
    } == {
        "air_low": ("air_lost",),
        "air_falling": ("air_lost",),
        "air_heading": ("air_lost", "air_falling"),
        "hood_pressure_raised": ("hood_pressure_high",),
        "air_invalid": ("blind",),
        "spo2_falling": ("spo2_low",),
        "spo2_invalid": ("blind",),
        "spo2_lost_after_fall": ("blind",),
    }


def test_where_and_when() -> None:
    assert arrangements_of(RULES["air_jump"]) == (Arrangement.FAN_SIDE,)
    assert RULES["air_jump"].stages == (Stage.WORN,)
    for rule_id in ("fan_mains_lost", "air_lost", "blind"):
        assert RULES[rule_id].stages == (Stage.IDLE, Stage.PRE_USE, Stage.WORN)
    for rule_id, rule in RULES.items():
        if rule_id.startswith(("spo2", "pulse")):
            assert rule.stages == (Stage.PRE_USE, Stage.WORN)


@pytest.mark.parametrize("rule_id", RULES)
def test_what_is_said(rule_id: str) -> None:
    rule = RULES[rule_id]
    tells_to_leave = rule.say.endswith("Leave, then take the hood off.")
    assert tells_to_leave == (rule.priority is Priority.HIGH)
    assert len(rule.say) <= 70


def test_when_an_answered_alarm_sounds_again() -> None:
    assert {rule_id: default_realarm_s(rule) for rule_id, rule in RULES.items()} == {
        rule_id: 15.0 if rule_id in KILLERS else {H: 60.0, M: 180.0, L: 0.0}[rule.priority]
        for rule_id, rule in RULES.items()
    }
