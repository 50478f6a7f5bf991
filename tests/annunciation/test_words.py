"""Lines for people: one per transition, plain, and safe for whoever helps."""

from itertools import product

import pytest

from linetender.annunciation.words import (
    HELPER_CAUTION,
    HELPER_CAUTION_AFTERWARDS,
    alarm_line,
    matter,
    sentence,
)
from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged
from linetender.core.plan import Arrangement, Below, Plan, RulePlan
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage

B, C = AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED


def plan(say: str = "Air lost. Leave, then take the hood off.") -> Plan:
    condition = Below(Signal.AIR_PERCENT_OF_BASELINE, 65.0)
    rule = RulePlan("air_lost", condition, Priority.HIGH, 0, 0, (Stage.WORN,), say=say)
    return Plan("bench", Arrangement.FAN_SIDE, None, (), (), (rule,))


def line(
    before: AlarmState, after: AlarmState, priority: Priority = Priority.MEDIUM, why: str = ""
) -> str:
    return alarm_line(AlarmChanged(0, 1, "air_lost", before, after, priority, why=why), plan())


@pytest.mark.parametrize(
    ("before", "after", "why", "expected"),
    [
        (AlarmState.NORMAL, B, "", "LOOK: Air lost. Leave, then take the hood off."),
        (C, B, "", "LOOK, still: Air lost. Leave, then take the hood off."),
        (B, B, "", "LOOK, now more urgent: Air lost. Leave, then take the hood off."),
        (AlarmState.LATCHED, B, "", "LOOK, again: Air lost. Leave, then take the hood off."),
        (AlarmState.SUPPRESSED, B, "no longer suppressed", "LOOK: Air lost. "
         "Leave, then take the hood off."),
        (AlarmState.SUPPRESSED, B, "still present", "LOOK, again: Air lost. "
         "Leave, then take the hood off."),
        (B, C, "attendant", "LOOK, answered by the attendant, not over: "
         "Air lost. Leave, then take the hood off."),
        (B, C, "remote", "LOOK, answered from afar, not over: "
         "Air lost. Leave, then take the hood off."),
        (B, C, "button", "LOOK, answered, not over: Air lost. Leave, then take the hood off."),
        (B, AlarmState.RETURNED, "", "LOOK, back to normal, not answered: Air lost."),
        (B, AlarmState.LATCHED, "", "LOOK, back to normal, not answered, sounds on: Air lost."),
        (C, AlarmState.LATCHED_ACKNOWLEDGED, "", "LOOK, answered and back to normal: Air lost."),
        (B, AlarmState.SHELVED, "", "LOOK, set aside for a time: Air lost."),
        (B, AlarmState.SUPPRESSED, "", "LOOK, also: Air lost."),
        (B, AlarmState.OUT_OF_SERVICE, "", "LOOK, out of service: Air lost."),
        (C, AlarmState.NORMAL, "", "Over: Air lost."),
    ],
)  # fmt: skip
def test_lines(before: AlarmState, after: AlarmState, why: str, expected: str) -> None:
    assert line(before, after, why=why) == expected


@pytest.mark.parametrize(("before", "after"), list(product(AlarmState, AlarmState)))
def test_every_line_about_high_ends_with_the_caution_for_helpers(
    before: AlarmState, after: AlarmState
) -> None:
    caution = HELPER_CAUTION_AFTERWARDS if after is AlarmState.NORMAL else HELPER_CAUTION
    said = line(before, after, Priority.HIGH)
    assert said.endswith(f" {caution}")
    assert said.count("\n") == 0
    assert said.startswith(("LEAVE", "Over:"))
    for word in ("do not go in without clean air", "shout", "emergency number"):
        assert word in said


def test_a_rule_without_a_sentence_is_told_by_its_name() -> None:
    assert sentence(plan(""), "air_lost") == "Air lost."
    assert sentence(plan(), "rule_of_another_file") == "Rule of another file."


def test_a_sentence_is_one_line_with_a_full_stop() -> None:
    assert sentence(plan(" Air lost,\n leave "), "air_lost") == "Air lost, leave."
    assert sentence(plan("Leave!"), "air_lost") == "Leave!"


def test_what_is_the_matter_leaves_out_what_to_do() -> None:
    assert matter("Air lost. Leave. Go.") == "Air lost."
    assert matter("Leave!") == "Leave!"
