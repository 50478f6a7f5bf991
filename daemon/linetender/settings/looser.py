"""Which changes to a rule make it watch less: those need a reason.

A change is looser where the alarm would be raised later or more rarely, cleared
sooner, told more quietly or to fewer. What can be neither compared nor called
neutral counts as looser.
"""

from collections.abc import Callable
from typing import Any

from linetender.core.stages import PRIORITY_RANK, Priority
from linetender.settings.rule_file import (
    Change,
    DriftFor,
    FactStaleFor,
    HeadingFor,
    Jump,
    RuleEntry,
    StaleFor,
)

NEUTRAL = frozenset({"say", "technical"})
"""Words and sorting: they change nothing that is watched."""


def looser_keys(base: RuleEntry, changed: RuleEntry, keys: tuple[str, ...]) -> list[str]:
    """Return those of the changed keys whose new value is looser than the base's."""
    return [key for key in keys if _is_looser(key, base, changed)]


def _is_looser(key: str, base: RuleEntry, changed: RuleEntry) -> bool:
    old, new = _effective(base, key), _effective(changed, key)
    if key in NEUTRAL or old == new:
        return False
    compare = _COMPARE.get(key)
    return True if compare is None else compare(old, new)


def _effective(rule: RuleEntry, key: str) -> Any:
    value = getattr(rule, key)
    if key == "realarm_s" and value is None:
        return default_realarm_s(rule)
    return _UNSET.get(key) if value is None else value


_UNSET: dict[str, Any] = {
    "deadband": 0.0,
    "deadband_percent": 0.0,
    "minus_uncertainties": 0.0,
    "on_delay_s": 0.0,
    "off_delay_s": 0.0,
    "latching": False,
    "killer": False,
    "loss_of_air": False,
    "suppressed_by": (),
    "calls": (),
}
"""What a key means that is not given."""


def default_realarm_s(rule: RuleEntry) -> float:
    """When an answered alarm sounds again if the rule does not say; 0 means never.

    15 s for killers, 60 s for other high ones, 180 s for medium, never for low (chosen).
    """
    if rule.killer:
        return 15.0
    return {Priority.HIGH: 60.0, Priority.MEDIUM: 180.0, Priority.LOW: 0.0}[rule.priority]


def _lower(old: Any, new: Any) -> bool:
    return not (_is_number(old) and _is_number(new)) or new < old


def _higher(old: Any, new: Any) -> bool:
    return not (_is_number(old) and _is_number(new)) or new > old


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _dropped(old: Any, new: Any) -> bool:
    """A flag is dropped, or a member of a list."""
    return bool(old and not new) if isinstance(old, bool) else not set(old or ()) <= set(new)


def _added(old: Any, new: Any) -> bool:
    return not set(new) <= set(old)


def _quieter(old: Priority, new: Priority) -> bool:
    return PRIORITY_RANK[new] < PRIORITY_RANK[old]


def _rarer(old: float, new: float) -> bool:
    """A re-alarm later, or never (0)."""
    return old != 0.0 and (new == 0.0 or new > old)


def _narrower(old: Any, new: Any) -> bool:
    return new is None or old is None or new[0] < old[0] or new[1] > old[1]


def _slower(old: Change, new: Change) -> bool:
    return new.by > old.by or new.within_s < old.within_s


def _less_jumpy(old: Jump, new: Jump) -> bool:
    return (
        new.above > old.above
        or new.from_below < old.from_below
        or new.until > old.until
        or new.within_s < old.within_s
    )


def _less_drifting(old: DriftFor, new: DriftFor) -> bool:
    def scale(entry: DriftFor) -> float:
        return entry.sigma or 1.0

    return (
        (old.reference, old.side) != (new.reference, new.side)
        or new.k * scale(new) > old.k * scale(old)
        or new.h * scale(new) > old.h * scale(old)
    )


def _less_heading(old: HeadingFor, new: HeadingFor) -> bool:
    return (
        (old.over_s, old.smoothing) != (new.over_s, new.smoothing)
        or new.within_s < old.within_s
        or _moved(old.below, new.below, down_is_looser=True)
        or _moved(old.above, new.above, down_is_looser=False)
    )


def _moved(old: float | None, new: float | None, *, down_is_looser: bool) -> bool:
    if old is None or new is None:
        return old is not new
    return new < old if down_is_looser else new > old


def _later(old: Any, new: Any) -> bool:
    return bool(new.after_s > old.after_s)


def _staler(old: StaleFor, new: StaleFor) -> bool:
    return (
        new.after_s > old.after_s
        or (new.followed is not None and new.followed != old.followed)
        or new.followed_within_s < old.followed_within_s
    )


def _less_confirmed(old: FactStaleFor, new: FactStaleFor) -> bool:
    def wearer_s(entry: FactStaleFor) -> float:
        return entry.after_s if entry.wearer_after_s is None else entry.wearer_after_s

    is_same = (old.fact, old.subject) == (new.fact, new.subject)
    return not is_same or new.after_s > old.after_s or wearer_s(new) > wearer_s(old)


def _rises_later(old: Any, new: Any) -> bool:
    if old is None:
        return False
    return new is None or _quieter(old.priority, new.priority) or new.after_s > old.after_s


_COMPARE: dict[str, Callable[[Any, Any], bool]] = {
    "below": _lower,
    "also_below": _lower,
    "normal_from": _higher,
    "minus_uncertainties": _lower,
    "above": _higher,
    "percent_of_taught": _higher,
    "outside": _narrower,
    "below_baseline": _higher,
    "above_baseline": _higher,
    "falls": _slower,
    "rises": _slower,
    "jumps": _less_jumpy,
    "drift": _less_drifting,
    "heading": _less_heading,
    "stuck": _later,
    "stale": _staler,
    "held": lambda old, new: new.contact != old.contact or new.after_s > old.after_s,
    "fact_stale": _less_confirmed,
    "check_in_missed": _later,
    "deadband": _lower,
    "deadband_percent": _lower,
    "on_delay_s": _higher,
    "off_delay_s": _lower,
    "priority": _quieter,
    "latching": _dropped,
    "killer": _dropped,
    "stages": _dropped,
    "arrangements": _dropped,
    "suppressed_by": _added,
    "rises_to": _rises_later,
    "realarm_s": _rarer,
    "calls": _dropped,
}
"""For each key, whether the second value is looser than the first (they differ)."""
