"""What the core says. Every event carries the instant at which it fell due."""

from enum import StrEnum

import msgspec

from linetender.core.alarm_table import AlarmState
from linetender.core.cause import Cause
from linetender.core.stages import Priority, Stage


class Sound(StrEnum):
    """What a sounder is asked for. The patterns themselves stand in `linetender.annunciation`."""

    SILENT = "silent"
    TICKS = "ticks"
    """Slow ticks: a question is open, one press answers it."""
    LOW = "low"
    MEDIUM = "medium"
    HIGH = "high"


class Cue(StrEnum):
    """What is put to the wearer besides alarms; any alarm goes before it."""

    NONE = "none"
    LAMPS = "lamps"
    """Pre-use check: every lamp flashes, so that the wearer can see that it works."""
    HOOD = "hood"
    """Pre-use check: put the hood on and wait for the test sound."""
    TEST = "test"
    """The test sound itself: one tap within 5 s."""
    READY = "ready"
    """The check is passed."""
    CODE = "code"
    """The check has ended without success: chirps and blinks tell at which step."""
    ASKS = "asks"
    """A question is open that one tap answers: the lamp blinks fast."""
    REMINDS = "reminds"
    """A stretch of time has passed since the hood went on."""


class Demand(msgspec.Struct, frozen=True, omit_defaults=True):
    """What should be sounded, shown and said now, and to whom.

    Attributes:
        sound: For the local sounder.
        burst: Counts the bursts that are owed: it rises by one with each alarm that
            begins to sound, so that a condition too short for the scheduler to see
            still completes its burst (IEC 60601-1-8, 6.10).
        light: Highest priority among the alarms that are present, answered or not.
        rule: The leading alarm, or empty.
        say: Its sentence for people.
        far: What second boxes are asked to sound.
        tell: Names of the contacts to be told.
        cue: What is put to the wearer where nothing sounds.
        code: For the cue CODE: numbers of chirps and blinks.
    """

    sound: Sound = Sound.SILENT
    burst: int = 0
    light: Priority | None = None
    rule: str = ""
    say: str = ""
    far: Sound = Sound.SILENT
    tell: tuple[str, ...] = ()
    cue: Cue = Cue.NONE
    code: tuple[int, ...] = ()


class AlarmChanged(
    msgspec.Struct, frozen=True, tag_field="is", tag="alarm_changed", omit_defaults=True
):
    """An alarm passed from one state to another, or its priority rose.

    Attributes:
        due_ns: The instant at which it fell due.
        n: Number of the transition, counted from 1 within a run of the daemon.
        rule: Id of the rule.
        before: State before.
        after: State after.
        priority: Its priority now.
        evidence: The value that decided (in the signal's unit, rounded to its resolution).
        why: In a word, where the value does not say it: a reason, a contact, who acted.
    """

    due_ns: int
    n: int
    rule: str
    before: AlarmState
    after: AlarmState
    priority: Priority
    evidence: float | None = None
    why: str = ""


class StageChanged(
    msgspec.Struct, frozen=True, tag_field="is", tag="stage_changed", omit_defaults=True
):
    """The station moved to another stage of use; `why` says what moved it."""

    due_ns: int
    before: Stage
    after: Stage
    why: str = ""


class StepState(StrEnum):
    """Where a step of the pre-use check stands."""

    WAITING = "waiting"
    MET = "met"
    FAILED = "failed"
    SKIPPED = "skipped"


class StepChanged(
    msgspec.Struct, frozen=True, tag_field="is", tag="step_changed", omit_defaults=True
):
    """A step of the pre-use check moved on; `why` says what is missing or who skipped it.

    The step `check` is the whole of it: met means ready to be worn, failed means refused.
    """

    due_ns: int
    step: str
    state: StepState
    why: str = ""


class BaselineSet(
    msgspec.Struct, frozen=True, tag_field="is", tag="baseline_set", omit_defaults=True
):
    """The value that air, oxygen or pulse are compared with was set, or discarded.

    Attributes:
        due_ns: The instant.
        signal: `airflow_l_min` where the line is calibrated, else the pressure across
            the flow element; or `spo2_percent`, `pulse_rate_bpm`.
        value: In the signal's unit; None when it was discarded at the end of use.
        source: `pre_use`, `good_air`, `worn`, `ended`, `too_old`.
    """

    due_ns: int
    signal: str
    value: float | None
    source: str


class DemandChanged(msgspec.Struct, frozen=True, tag_field="is", tag="demand_changed"):
    """What should be sounded, shown and said changed."""

    due_ns: int
    demand: Demand


class CauseNamed(
    msgspec.Struct, frozen=True, tag_field="is", tag="cause_named", omit_defaults=True
):
    """What probably happened, from the pattern across signals; a later one revises it.

    The words for it, and for what to do, stand in `linetender.annunciation`.

    Attributes:
        due_ns: The instant.
        rule: The alarm it explains.
        cause: The likeliest.
        confidence: 0 to 1; 0 where it is not clear.
        also: What the evidence does not rule out, the likelier first.
        evidence: What speaks for it, each `source=value`.
        first_out: The rule whose alarm came first of those that stand.
    """

    due_ns: int
    rule: str
    cause: Cause
    confidence: float
    also: tuple[Cause, ...] = ()
    evidence: tuple[str, ...] = ()
    first_out: str = ""


class FalseLeave(
    msgspec.Struct, frozen=True, tag_field="is", tag="false_leave", omit_defaults=True
):
    """After the end of use the wearer marked the last LEAVE as false.

    Attributes:
        due_ns: The instant.
        n: Number of the transition that told to leave.
        rule: Its rule.
    """

    due_ns: int
    n: int
    rule: str


Event = (
    AlarmChanged
    | StageChanged
    | StepChanged
    | BaselineSet
    | DemandChanged
    | CauseNamed
    | FalseLeave
)
