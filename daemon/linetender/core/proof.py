"""The proof test: which steps a station has, what each is held against, and what it came to.

Somebody makes a fault on the real line, in clean air, and the time from the cause to
the sound is taken. Here it is decided what that means; `linetender.runtime.proof_work`
takes the times.
"""

from collections.abc import Iterable, Mapping, Sequence
from enum import StrEnum
from typing import NamedTuple

import msgspec

from linetender.core.instants import to_seconds
from linetender.core.plan import (
    AirPlan,
    Below,
    Condition,
    Jumps,
    OnContact,
    Plan,
    RulePlan,
)
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage


class ProofKind(StrEnum):
    """A step of the proof test."""

    FAN_PLUG = "fan_plug"
    """The fan's plug is pulled."""
    DUCT_PINCHED = "duct_pinched"
    """The duct is pinched shut."""
    DUCT_OFF_AT_FAN = "duct_off_at_fan"
    DUCT_OFF_AT_HOOD = "duct_off_at_hood"
    """The duct is taken off at this end."""
    WALK = "walk"
    """The way out is walked, in full gear."""
    BOX_PLUG = "box_plug"
    """The box's plug is pulled: what is left must notice that nothing watches."""
    EVERYTHING = "everything"
    """Box and fan lose their power together: the second box must sound."""


ASKED = frozenset({ProofKind.BOX_PLUG, ProofKind.EVERYTHING})
"""Steps that end the station: a person says afterwards how long it took."""


class ProofResult(StrEnum):
    """What a step came to."""

    PASSED = "passed"
    FAILED = "failed"
    SKIPPED = "skipped"
    PENDING = "pending"
    """The box was about to lose its power; nobody has said yet what was heard."""


class ProofClock(StrEnum):
    """What told the instant of the cause."""

    MAINS = "mains"
    PRESSURE = "pressure"
    BUTTON = "button"
    ENTER = "enter"
    WATCH = "watch"
    """A person's own watch."""


HAND_S = 1.0
"""A person marks an instant no better than this (s, chosen)."""

STATION_S = 0.5
"""Where the station saw the cause itself: a debounced contact, a turn of the loop (s, chosen)."""

WATCH_S = 2.0
"""A person reads a watch no better, with a plug in the other hand (s, chosen)."""

MISPLACED_S = 3.0
"""A mark so long before the pressure changes was none of the cause (s, chosen)."""

CHANGED_PERCENT = 10.0
"""Air (% of the normal before the step) that far from 100 has changed (chosen: more than
a gust or a breath, less than any limit)."""

UNHEARD_S = 30.0
"""So long past its limit a step has failed (s, chosen)."""

EXTERNAL_ALARM_S = 5.0
"""Keep-alive stops, and the alarm on it sounds (s): rule 21 of the default rules."""


class RuleTime(NamedTuple):
    """How soon a rule about the air sounds.

    Attributes:
        rule: Its id.
        coast_down_s: Until a fan without power has come down to its limit (s).
        wait_s: Sensing and on-delay (s).
    """

    rule: str
    coast_down_s: float
    wait_s: float


class ProofStep(msgspec.Struct, frozen=True):
    """One step of a station's proof test.

    Attributes:
        kind: Which.
        rule: The rule that is to sound; empty where none is looked at.
        limit_s: From cause to sound, at most (s); None for the walk.
        stage: The stage that the rule needs.
    """

    kind: ProofKind
    rule: str = ""
    limit_s: float | None = None
    stage: Stage = Stage.IDLE


class Judged(NamedTuple):
    """What a step came to, and why in a sentence (empty where there is nothing to say)."""

    result: ProofResult
    why: str = ""


def proof_steps(
    plan: Plan,
    times: Iterable[RuleTime],
    outputs: Iterable[str],
    silence_s: Mapping[str, float],
) -> tuple[ProofStep, ...]:
    """Return the steps of a station, in their order: those that end it come last.

    Args:
        plan: The station.
        times: Of its rules about the air.
        outputs: Roles of its outputs; without a sounder nothing can be timed.
        silence_s: By a second box's role: how long it bears silence (s) before it says LEAVE.
    """
    roles, steps = frozenset(outputs), []
    if "buzzer" in roles:
        steps += _timed(plan, {time.rule: time for time in times})
    steps.append(ProofStep(ProofKind.WALK))
    far_s = [silence_s[box.role] for box in plan.far_ends]
    box_s = [*far_s, *([EXTERNAL_ALARM_S] if "keep_alive" in roles else [])]
    if box_s:
        steps.append(_asked(ProofKind.BOX_PLUG, min(box_s)))
    if far_s:
        steps.append(_asked(ProofKind.EVERYTHING, min(far_s)))
    return tuple(steps)


def _asked(kind: ProofKind, limit_s: float) -> ProofStep:
    # In idle a box that is switched off is an evening's end, and alarms nobody.
    return ProofStep(kind, limit_s=limit_s, stage=Stage.PRE_USE)


def _timed(plan: Plan, times: Mapping[str, RuleTime]) -> list[ProofStep]:
    leaves = [rule for rule in plan.rules if rule.priority is Priority.HIGH and rule.id in times]
    mains = [rule for rule in leaves if _is_mains(rule.condition)]
    falls = [rule for rule in leaves if _sees_fall(rule.condition, plan)]
    jumps = [rule for rule in leaves if isinstance(rule.condition, Jumps)]
    # A duct that comes off behind an element beside the fan raises the flow there.
    off = jumps or falls
    steps = [
        _soonest(plan, ProofKind.FAN_PLUG, mains or falls, times, coasts=True),
        _soonest(plan, ProofKind.DUCT_PINCHED, falls, times),
        _soonest(plan, ProofKind.DUCT_OFF_AT_FAN, off, times),
        _soonest(plan, ProofKind.DUCT_OFF_AT_HOOD, off, times),
    ]
    return [step for step in steps if step is not None]


def _is_mains(condition: Condition) -> bool:
    return isinstance(condition, OnContact) and condition.contact == "fan_mains"


def _sees_fall(condition: Condition, plan: Plan) -> bool:
    air = {Signal.AIR_PERCENT_OF_BASELINE, Signal.AIRFLOW_L_MIN}
    if plan.air is not None:
        air.add(plan.air.signal)
    return isinstance(condition, Below) and condition.signal in air


def _soonest(
    plan: Plan,
    kind: ProofKind,
    rules: Sequence[RulePlan],
    times: Mapping[str, RuleTime],
    *,
    coasts: bool = False,
) -> ProofStep | None:
    """Return the step with the rule that is to sound first, or None where none is."""
    made = []
    for rule in rules:
        time = times[rule.id]
        limit_s = time.wait_s + (time.coast_down_s if coasts else 0.0)
        made.append(ProofStep(kind, rule.id, limit_s, _stage_of(rule, plan)))
    return min(made, key=lambda step: step.limit_s or 0.0, default=None)


def _stage_of(rule: RulePlan, plan: Plan) -> Stage:
    # Outside use the air is watched once it was seen to be good, so never without a reading.
    stages = (Stage.IDLE, Stage.PRE_USE, Stage.WORN) if plan.air else (Stage.WORN,)
    return next((stage for stage in stages if stage in rule.stages), Stage.WORN)


# The instant of the cause


class Sample(NamedTuple):
    """A reading of the pressure across the flow element: when (ns), and the pressure (Pa)."""

    at_ns: int
    pressure_pa: float


def normal_pa(samples: Sequence[Sample], air: AirPlan) -> float:
    """Return the normal before a step: the median of one or more readings, over the zero (Pa)."""
    pressures_pa = sorted(sample.pressure_pa for sample in samples)
    return pressures_pa[len(pressures_pa) // 2] - air.zero_pa


def changed_ns(samples: Sequence[Sample], air: AirPlan, normal: float, sound_ns: int) -> int | None:
    """Return when the air left its normal for good before the sound, or None.

    Looked for backwards, so that a gust that passed earlier is no cause.

    Args:
        samples: In order of time.
        air: How air is derived.
        normal: As of `normal_pa` (Pa, > 0).
        sound_ns: When it sounded.
    """
    first: int | None = None
    for at_ns, pressure_pa in reversed(samples):
        if at_ns > sound_ns:
            continue
        percent = 100.0 * (max(0.0, pressure_pa - air.zero_pa) / normal) ** air.exponent
        if abs(percent - 100.0) <= CHANGED_PERCENT:
            return first
        first = at_ns
    return first


class Cause(NamedTuple):
    """The instant of the cause (ns), and what told it."""

    at_ns: int
    clock: ProofClock


def cause_of(seen: Mapping[ProofClock, int]) -> Cause | None:
    """Return the earliest of what was seen, so that no figure comes out too good; or None."""
    clock = min(seen, key=lambda clock: seen[clock], default=None)
    return None if clock is None else Cause(seen[clock], clock)


# What it came to


def allowed_s(step: ProofStep, clock: ProofClock) -> float:
    """Return the limit with what that clock is good for (s)."""
    spare = {ProofClock.ENTER: HAND_S, ProofClock.BUTTON: HAND_S, ProofClock.WATCH: WATCH_S}
    return (step.limit_s or 0.0) + spare.get(clock, STATION_S)


def judge_sound(step: ProofStep, cause: Cause, sound_ns: int, rule: str) -> Judged:
    """Judge a step that sounded; `rule` is the one that led."""
    took_s, limit_s = to_seconds(sound_ns - cause.at_ns), allowed_s(step, cause.clock)
    if took_s > limit_s:
        return Judged(
            ProofResult.FAILED,
            f"it sounded {took_s:.1f} s after the cause; {limit_s:.1f} s at most was expected "
            f"by {step.rule}",
        )
    if rule != step.rule:
        return Judged(ProofResult.PASSED, f"in time, by {rule} instead of {step.rule}")
    return Judged(ProofResult.PASSED)


def misplaced(cause: Cause, changed_ns: int | None) -> str:
    """Say that a person's mark does not go with what the pressure did; empty if it does."""
    if cause.clock not in (ProofClock.ENTER, ProofClock.BUTTON) or changed_ns is None:
        return ""
    late_s = to_seconds(changed_ns - cause.at_ns)
    if late_s <= MISPLACED_S:
        return ""
    return (
        f"the pressure changed only {late_s:.1f} s after your mark: mark the very moment, and "
        "do this step again"
    )


def judge_asked(step: ProofStep, seconds: float | None) -> Judged:
    """Judge what somebody heard after a plug was pulled (s); None: nothing sounded."""
    limit_s = allowed_s(step, ProofClock.WATCH)
    if seconds is None:
        return Judged(ProofResult.FAILED, "nothing sounded")
    if seconds > limit_s:
        why = f"it sounded after {seconds:g} s; {limit_s:g} s at most was expected"
        return Judged(ProofResult.FAILED, why)
    return Judged(ProofResult.PASSED)


class TimeToLeave(msgspec.Struct, frozen=True):
    """What the alarm budget leaves for the way out.

    Attributes:
        needed_s: From the failure until the wearer has reacted, by the slowest rule (s).
        available_s: Until 3 % carbon dioxide in the hood (s).
        opens_hood: Whether LEAVE tells to open the hood while going.
    """

    needed_s: float
    available_s: float
    opens_hood: bool

    @property
    def left_s(self) -> float:
        """For the way out with the hood closed (s)."""
        return self.available_s - self.needed_s


def judge_walk(seconds: float, time: TimeToLeave | None) -> Judged:
    """Judge a walk to the way out (s) by the alarm budget; None: the station has none."""
    if time is None:
        return Judged(ProofResult.PASSED, "no alarm watches the air, so nothing to compare with")
    if seconds <= time.left_s:
        return Judged(ProofResult.PASSED, f"the hood leaves {time.left_s:.1f} s for it")
    over = f"the hood leaves only {max(0.0, time.left_s):.1f} s for it"
    if time.opens_hood:
        return Judged(ProofResult.PASSED, f"{over}; LEAVE says to open it while going")
    return Judged(
        ProofResult.FAILED,
        f"{over}, and LEAVE does not yet say to open the hood while going: start the "
        "station anew, and lint it",
    )
