"""What must hold between the keys of one rule, beyond the range of each."""

from collections.abc import Callable, Iterator

from linetender.core.signals import Signal
from linetender.core.stages import PRIORITY_RANK
from linetender.settings.fault import Fault
from linetender.settings.positions import Path
from linetender.settings.rule_file import CONDITION_KEYS, ConditionFields, RuleEntry
from linetender.settings.window_checks import faults_of_windows

LONGEST_KILLER_QUIET_S = 15.0
"""For what can kill, an answer buys no more quiet than this."""

FULL_SCALE_PERCENT = {Signal.SPO2_PERCENT, Signal.OXIMETER_BATTERY_PERCENT}
"""Signals that end at 100: a clear limit over it would never be reached."""


def faults_of_rule(rule: RuleEntry) -> list[Fault]:
    """Return everything that is wrong with a rule whose keys are each in range."""
    return [*_faults_of_condition(rule, ()), *_faults_of_behaviour(rule)]


def _faults_of_condition(entry: ConditionFields, at: Path) -> Iterator[Fault]:
    keys = entry.condition_keys
    if len(keys) != 1:
        given = " and ".join(keys) if keys else "none"
        expected = f"exactly one condition was expected, {given} given"
        yield Fault(at, expected, f"give one of {', '.join(CONDITION_KEYS)}")
        return
    yield from _faults_of_signal(entry, keys[0], at)
    yield from _faults_of_qualifiers(entry, keys[0], at)
    for check in _SIDES:
        yield from check(entry, at)
    for key in ("any_of", "all_of"):
        for place, part in enumerate(getattr(entry, key) or ()):
            yield from _faults_of_condition(part, (*at, key, place))


def _faults_of_signal(entry: ConditionFields, key: str, at: Path) -> Iterator[Fault]:
    if key == "stale":
        if (entry.signal is None) == (not entry.signals):
            yield Fault(at, "stale needs signal or signals, one of them", "give one of the two")
    elif key in _WITHOUT_SIGNAL:
        if entry.signal is not None or entry.signals:
            yield Fault((*at, "signal"), f"{key} takes no signal", "remove the signal")
    elif entry.signal is None:
        yield Fault(at, f"{key} needs a signal", "add signal = …")
    if entry.signals and key != "stale":
        yield Fault((*at, "signals"), "only stale takes several signals", "use signal = …")


_WITHOUT_SIGNAL = ("contact", "held", "fact", "fact_stale", "check_in_missed", "any_of", "all_of")

_QUALIFIES = {
    "when": ("contact",),
    "subject": ("fact",),
    "also_below": ("below_baseline",),
    "normal_from": ("below_baseline",),
    "minus_uncertainties": ("below",),
    "deadband": (
        "below",
        "above",
        "outside",
        "below_baseline",
        "above_baseline",
        "falls",
        "rises",
        "heading",
    ),
    "deadband_percent": ("below", "percent_of_taught"),
}
"""Which conditions each qualifying key belongs to."""


def _faults_of_qualifiers(entry: ConditionFields, key: str, at: Path) -> Iterator[Fault]:
    for name, owners in _QUALIFIES.items():
        if getattr(entry, name) is not None and key not in owners:
            expected = f"it belongs to {' or '.join(owners)}, not to {key}"
            yield Fault((*at, name), expected, "remove it")
    if at and entry.stale is not None and entry.stale.followed is not None:
        expected = "only a rule that is nothing but stale can have followed something"
        yield Fault((*at, "stale", "followed"), expected, "make it a rule of its own")
    if key == "contact" and entry.when is None:
        yield Fault(at, "contact needs when", 'add when = "open", "closed" or "broken"')
    is_half = (entry.also_below is None) != (entry.normal_from is None)
    if key == "below_baseline" and is_half:
        yield Fault(at, "also_below and normal_from belong together", "give both or neither")
    if entry.below == "required":
        if entry.signal is not Signal.AIRFLOW_L_MIN:
            expected = '"required" is an airflow: the signal must be airflow_l_min'
            yield Fault((*at, "below"), expected, "give a number, or that signal")
        if entry.deadband is not None:
            yield Fault((*at, "deadband"), 'with "required" the deadband is in %', _IN_PERCENT)
    elif key == "below":
        for name in ("minus_uncertainties", "deadband_percent"):
            if getattr(entry, name) is not None:
                yield Fault((*at, name), 'it belongs to below = "required"', "remove it")
    if key == "percent_of_taught" and entry.deadband_percent is None and entry.deadband is not None:
        yield Fault((*at, "deadband"), "with percent_of_taught the deadband is in %", _IN_PERCENT)


_IN_PERCENT = "write deadband_percent"


def _sides_of_outside(entry: ConditionFields, at: Path) -> Iterator[Fault]:
    if entry.outside is not None:
        low, high = entry.outside
        if low + (entry.deadband or 0.0) > high - (entry.deadband or 0.0):
            expected = "expected [low, high] wider than two deadbands, or it could never clear"
            yield Fault((*at, "outside"), expected, "set low and high further apart")


def _sides_of_jumps(entry: ConditionFields, at: Path) -> Iterator[Fault]:
    if entry.jumps is None:
        return
    for name in ("from_below", "until"):
        if getattr(entry.jumps, name) > entry.jumps.above:
            path = (*at, "jumps", name)
            yield Fault(path, f"expected not over above ({entry.jumps.above:g})", "lower it")


def _sides_of_baselines(entry: ConditionFields, at: Path) -> Iterator[Fault]:
    distance = entry.below_baseline or entry.above_baseline
    if distance is not None and (entry.deadband or 0.0) >= distance:
        expected = f"expected less than the distance ({distance:g}), or it may never clear"
        yield Fault((*at, "deadband"), expected, "lower the deadband")


def _sides_of_full_scale(entry: ConditionFields, at: Path) -> Iterator[Fault]:
    if entry.signal in FULL_SCALE_PERCENT and isinstance(entry.below, float):
        clears = entry.below + (entry.deadband or 0.0)
        if clears > 100.0:
            expected = f"it would clear at {clears:g} %, but the signal ends at 100 %"
            yield Fault((*at, "below"), expected, "lower the limit or the deadband")


def _sides_of_levels(entry: ConditionFields, at: Path) -> Iterator[Fault]:
    is_pressure_or_flow = entry.signal is not None and entry.signal.value.startswith("air")
    if is_pressure_or_flow and isinstance(entry.below, float) and entry.below <= 0.0:
        yield Fault(
            (*at, "below"), "expected more than 0, or it could never be present", "raise the limit"
        )
    if entry.above is not None and entry.above > 0.0 and entry.above <= (entry.deadband or 0.0):
        expected = f"expected less than the limit ({entry.above:g}), or it may never clear"
        yield Fault((*at, "deadband"), expected, "lower the deadband")


_SIDES: tuple[Callable[[ConditionFields, Path], Iterator[Fault]], ...] = (
    _sides_of_outside,
    _sides_of_jumps,
    _sides_of_baselines,
    _sides_of_full_scale,
    _sides_of_levels,
    faults_of_windows,
)
"""Checks that a clear limit lies on the safe side of its raise limit and can be reached."""


def _faults_of_behaviour(rule: RuleEntry) -> Iterator[Fault]:
    if rule.killer:
        if rule.realarm_s is not None and not 0.0 < rule.realarm_s <= LONGEST_KILLER_QUIET_S:
            expected = f"expected above 0 and at most {LONGEST_KILLER_QUIET_S:g} s for a killer"
            yield Fault(("realarm_s",), expected, "shorten it or leave it out")
        if rule.suppressed_by:
            yield Fault(("suppressed_by",), "nothing may suppress a killer", "remove it")
    rise = rule.rises_to
    if rise is not None and PRIORITY_RANK[rise.priority] <= PRIORITY_RANK[rule.priority]:
        expected = f"expected a priority over that of the raise ({rule.priority})"
        yield Fault(("rises_to",), expected, "raise it or remove rises_to")
    if rule.stale is not None and rule.on_delay_s:
        yield Fault(("on_delay_s",), "expected 0: stale carries its own after_s", "remove it")
    if rule.stuck is not None and rule.on_delay_s:
        yield Fault(("on_delay_s",), "expected 0: stuck carries its own after_s", "remove it")
