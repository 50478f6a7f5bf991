"""A frozen view of the core, for those who show it or send it on."""

import msgspec

from linetender.core.alarm_table import AlarmState
from linetender.core.cause import Cause
from linetender.core.events import Demand
from linetender.core.inputs import Quality
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage


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
