"""A frozen view of the core, for those who show it or send it on."""

from enum import StrEnum

import msgspec

from linetender.core.alarm_table import AlarmState
from linetender.core.cause import Cause
from linetender.core.events import Demand, StepState
from linetender.core.inputs import Quality
from linetender.core.pre_use import CheckState
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage
from linetender.core.step_plan import StepKind


class SignalView(msgspec.Struct, frozen=True):
    """One signal now.

    Attributes:
        signal: The quantity.
        value: The last good or degraded value (rounded), or None after a bad reading.
        reason: Why there is no value; `no_reading_yet` before the first.
        quality: Of the last reading.
        age_ns: Since the last good reading; None before the first.
        uncertainty: Standard uncertainty of the value, in its unit; None where it is not known.
    """

    signal: Signal
    value: float | None
    reason: str | None
    quality: Quality
    age_ns: int | None
    uncertainty: float | None = None


class CauseView(msgspec.Struct, frozen=True):
    """What probably happened; attributes as of `CauseNamed`."""

    cause: Cause
    confidence: float
    also: tuple[Cause, ...] = ()


class AlarmView(msgspec.Struct, frozen=True):
    """One alarm that is not normal; `cause` is what probably happened, where one was named."""

    rule: str
    state: AlarmState
    priority: Priority
    since_ns: int
    n: int
    say: str
    cause: CauseView | None = None


class StepView(msgspec.Struct, frozen=True):
    """One step of the pre-use check.

    Attributes:
        id: Its name.
        kind: What it looks at.
        state: Where it stands.
        why: Why, where there is something to say.
        done, needed: Progress: seconds of good readings, or 0 and 1 of 1.
        left_ns: Time until it ends the check unmet; None where no time runs.
    """

    id: str
    kind: StepKind
    state: StepState
    why: str
    done: float
    needed: float
    left_ns: int | None


class CheckView(msgspec.Struct, frozen=True):
    """The pre-use check.

    Attributes:
        state: How it stands; while worn `none` and `refused` mean not checked.
        steps: Of the check that runs, or ran last; empty where there was none.
        overrides: (step, reason) of each that was overridden.
        awaits_sound: Whether the test sound may come at any instant now.
        hands_on_ns: For how long it has asked for hands: from a question to its answer.
    """

    state: CheckState = CheckState.NONE
    steps: tuple[StepView, ...] = ()
    overrides: tuple[tuple[str, str], ...] = ()
    awaits_sound: bool = False
    hands_on_ns: int = 0


class Question(StrEnum):
    """What is being asked, and one tap answers."""

    NONE = "none"
    HOOD = "hood"
    """After a power cut: was the hood on? A tap says that it is off."""
    FALSE_LEAVE = "false_leave"
    """After the end: a tap says that the last LEAVE was false."""


class Snapshot(msgspec.Struct, frozen=True):
    """The whole station now.

    Attributes:
        now_ns: Watch time.
        stage: Stage of use.
        n: Number of the last alarm transition.
        signals: In the order of `Signal`, those that the station gives or derives.
        alarms: Those not normal, in the order of the rules.
        demand: What is being asked of sounders, lamps and far ends.
        air_armed: Whether loss of air is watched now.
        air_baseline: B (L/min where calibrated, else Pa), or None.
        first_out: The rule whose alarm came first of those that stand; empty if none.
        check: The pre-use check.
        worn_for_ns: For how long the hood has been worn; None while it is off.
        question: What one tap would answer now, besides alarms.
    """

    now_ns: int
    stage: Stage
    n: int
    signals: tuple[SignalView, ...]
    alarms: tuple[AlarmView, ...]
    demand: Demand
    air_armed: bool
    air_baseline: float | None
    first_out: str = ""
    check: CheckView = CheckView()
    worn_for_ns: int | None = None
    question: Question = Question.NONE
