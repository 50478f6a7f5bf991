"""From a rule's condition as written to the core's; None where its parts are not fitted."""

from collections.abc import Callable
from dataclasses import dataclass

from linetender.core.fact_names import FactName
from linetender.core.instants import from_seconds
from linetender.core.plan import (
    Above,
    AboveBaseline,
    AirPlan,
    AllOf,
    AnyOf,
    Below,
    BelowBaseline,
    CheckInMissed,
    Condition,
    Drift,
    FactStale,
    Falls,
    Heading,
    Held,
    Jumps,
    OnContact,
    OnFact,
    Outside,
    Rises,
    Side,
    Stale,
    Stuck,
)
from linetender.core.signals import Signal
from linetender.settings.compile_air import required_reading_l_min
from linetender.settings.rule_file import ConditionFields
from linetender.settings.station_file import FarEndTable, StationFile
from linetender.settings.strict_model import AirPressure


@dataclass(frozen=True)
class Fitted:
    """What the station has that a condition could need.

    Attributes:
        station: The station file.
        air: How air is derived, or None.
        signals: Signals of devices, and the derived ones that exist.
        contacts: Roles of switches.
    """

    station: StationFile
    air: AirPlan | None
    signals: tuple[Signal, ...]
    contacts: tuple[str, ...]

    def signal(self, written: Signal | AirPressure | None) -> Signal | None:
        """Return the signal meant by a rule, or None where nothing gives it."""
        if isinstance(written, AirPressure):
            return self.air.signal if self.air else None
        return written if written in self.signals else None


def condition_of(
    entry: ConditionFields, fitted: Fitted, box: FarEndTable | None
) -> Condition | None:
    """Compile a condition that `faults_of_rule` found sound.

    Args:
        entry: As written.
        fitted: What the station has.
        box: The second box this copy of the rule is for, where there is one per box.
    """
    (key,) = entry.condition_keys
    if key == "stale":
        return _stale(entry, fitted)
    if key in _OF_SIGNAL:
        signal = fitted.signal(entry.signal)
        return None if signal is None else _OF_SIGNAL[key](entry, signal, fitted)
    if key in ("any_of", "all_of"):
        return _of_several(entry, fitted, box)
    if key == "fact_stale":
        return _fact_stale(entry, box)
    return _of_station(entry, fitted)


def _below(entry: ConditionFields, signal: Signal, fitted: Fitted) -> Condition | None:
    deadband = entry.deadband or 0.0
    if isinstance(entry.below, float):
        return Below(signal, entry.below, deadband)
    limit = required_reading_l_min(fitted.station, entry.minus_uncertainties or 0.0)
    required = fitted.station.station.required_airflow_l_min
    if limit is None or required is None:
        return None
    return Below(signal, limit, required * (entry.deadband_percent or 0.0) / 100.0)


def _above(entry: ConditionFields, signal: Signal, _: Fitted) -> Condition | None:
    return None if entry.above is None else Above(signal, entry.above, entry.deadband or 0.0)


def _percent_of_taught(entry: ConditionFields, signal: Signal, fitted: Fitted) -> Condition | None:
    """Only the pressure across the element has a taught normal."""
    if fitted.air is None or fitted.air.signal is not signal or entry.percent_of_taught is None:
        return None
    taught_pa = fitted.air.normal_pa
    deadband_pa = taught_pa * (entry.deadband_percent or 0.0) / 100.0
    limit_pa = fitted.air.zero_pa + taught_pa * entry.percent_of_taught / 100.0
    return Above(signal, limit_pa, deadband_pa)


def _outside(entry: ConditionFields, signal: Signal, _: Fitted) -> Condition | None:
    if entry.outside is None:
        return None
    low, high = entry.outside
    return Outside(signal, low, high, entry.deadband or 0.0)


def _below_baseline(entry: ConditionFields, signal: Signal, _: Fitted) -> Condition | None:
    if entry.below_baseline is None:
        return None
    return BelowBaseline(
        signal,
        entry.below_baseline,
        entry.deadband or 0.0,
        entry.also_below,
        entry.normal_from or 0.0,
    )


def _above_baseline(entry: ConditionFields, signal: Signal, _: Fitted) -> Condition | None:
    if entry.above_baseline is None:
        return None
    return AboveBaseline(signal, entry.above_baseline, entry.deadband or 0.0)


def _falls(entry: ConditionFields, signal: Signal, _: Fitted) -> Condition | None:
    if entry.falls is None:
        return None
    within_ns = from_seconds(entry.falls.within_s)
    return Falls(signal, entry.falls.by, within_ns, entry.deadband or 0.0)


def _rises(entry: ConditionFields, signal: Signal, _: Fitted) -> Condition | None:
    if entry.rises is None:
        return None
    within_ns = from_seconds(entry.rises.within_s)
    return Rises(signal, entry.rises.by, within_ns, entry.deadband or 0.0)


def _jumps(entry: ConditionFields, signal: Signal, _: Fitted) -> Condition | None:
    if entry.jumps is None:
        return None
    jump = entry.jumps
    return Jumps(signal, jump.above, jump.from_below, jump.until, from_seconds(jump.within_s))


def _drift(entry: ConditionFields, signal: Signal, _: Fitted) -> Condition | None:
    if entry.drift is None:
        return None
    drift = entry.drift
    reference = None if drift.reference == "baseline" else drift.reference
    return Drift(signal, drift.h, drift.k, drift.sigma or 1.0, reference, drift.side)


def _heading(entry: ConditionFields, signal: Signal, _: Fitted) -> Condition | None:
    if entry.heading is None:
        return None
    heading = entry.heading
    limit = heading.above if heading.below is None else heading.below
    if limit is None:
        return None
    return Heading(
        signal,
        limit,
        Side.UP if heading.below is None else Side.DOWN,
        from_seconds(heading.within_s),
        from_seconds(heading.over_s),
        heading.smoothing,
        entry.deadband or 0.0,
    )


def _stuck(entry: ConditionFields, signal: Signal, _: Fitted) -> Condition | None:
    return None if entry.stuck is None else Stuck(signal, from_seconds(entry.stuck.after_s))


_OF_SIGNAL: dict[str, Callable[[ConditionFields, Signal, Fitted], Condition | None]] = {
    "below": _below,
    "above": _above,
    "percent_of_taught": _percent_of_taught,
    "outside": _outside,
    "below_baseline": _below_baseline,
    "above_baseline": _above_baseline,
    "falls": _falls,
    "rises": _rises,
    "jumps": _jumps,
    "drift": _drift,
    "heading": _heading,
    "stuck": _stuck,
}


def _stale(entry: ConditionFields, fitted: Fitted) -> Condition | None:
    """Of several signals keep those that are fitted, each once."""
    written = entry.signals or (entry.signal,)
    kept = dict.fromkeys(signal for signal in map(fitted.signal, written) if signal is not None)
    if not kept or entry.stale is None:
        return None
    return Stale(
        tuple(kept),
        from_seconds(entry.stale.after_s),
        entry.stale.followed or "",
        from_seconds(entry.stale.followed_within_s),
    )


def _of_several(
    entry: ConditionFields, fitted: Fitted, box: FarEndTable | None
) -> Condition | None:
    """any_of keeps the parts that are fitted; all_of needs them all."""
    if entry.any_of is not None:
        parts = [condition_of(part, fitted, box) for part in entry.any_of]
        kept = tuple(part for part in parts if part is not None)
        return AnyOf(kept) if kept else None
    parts = [condition_of(part, fitted, box) for part in entry.all_of or ()]
    kept = tuple(part for part in parts if part is not None)
    return AllOf(kept) if len(kept) == len(parts) else None


def _fact_stale(entry: ConditionFields, box: FarEndTable | None) -> Condition | None:
    stale = entry.fact_stale
    if stale is None:
        return None
    after_s = stale.after_s
    if box is None:
        return FactStale(stale.fact.value, stale.subject, from_seconds(after_s))
    if box.role == "wearer" and stale.wearer_after_s is not None:
        after_s = stale.wearer_after_s
    return FactStale(stale.fact.value, box.name, from_seconds(after_s))


def _of_station(entry: ConditionFields, fitted: Fitted) -> Condition | None:
    """Conditions on switches, facts and the check-in."""
    if entry.contact is not None and entry.when is not None:
        return OnContact(entry.contact, entry.when) if entry.contact in fitted.contacts else None
    if entry.held is not None:
        is_fitted = entry.held.contact in fitted.contacts
        return Held(entry.held.contact, from_seconds(entry.held.after_s)) if is_fitted else None
    if entry.fact is FactName.COMMANDS_UNGUARDED:
        broker = fitted.station.broker
        return OnFact(entry.fact.value) if broker is not None and broker.commands else None
    if entry.fact is not None:
        return OnFact(entry.fact.value, entry.subject or "")
    if entry.check_in_missed is not None and fitted.station.check_in is not None:
        return CheckInMissed(from_seconds(entry.check_in_missed.after_s))
    return None
