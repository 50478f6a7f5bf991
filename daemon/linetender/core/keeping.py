"""How mutable state outlives a Watch: instants become ages, and ages instants again.

Each class of the core lists what it holds: `INSTANTS` (ns, kept as time before
now), `VALUES` (numbers, words, states), `SERIES` ((instant, number) pairs) and
`LISTS` (plain numbers). Nothing else may change after construction.
"""

from collections import deque
from enum import Enum
from typing import Any

from linetender.core.instants import NEVER_NS

Kept = dict[str, Any]


def keep(holder: object, now_ns: int) -> Kept:
    """Return all that changes in an object, as plain data that JSON can hold."""
    kept: Kept = {}
    for name in _names(holder, "INSTANTS"):
        kept[name] = _age(getattr(holder, name), now_ns)
    for name in _names(holder, "VALUES"):
        value = getattr(holder, name)
        kept[name] = value.value if isinstance(value, Enum) else _plain(value)
    for name in _names(holder, "SERIES"):
        kept[name] = [[now_ns - at_ns, value] for at_ns, value in getattr(holder, name)]
    for name in _names(holder, "LISTS"):
        kept[name] = list(getattr(holder, name))
    return kept


def restore(holder: object, kept: Kept, now_ns: int) -> None:
    """Put kept data back, as if it had been kept at `now_ns`.

    What the kept data does not name stays as constructed, so that a newer version
    can read what an older one kept.
    """
    for name in _names(holder, "INSTANTS"):
        if name in kept:
            setattr(holder, name, _instant(kept[name], now_ns))
    for name in _names(holder, "VALUES"):
        if name in kept:
            setattr(holder, name, _like(getattr(holder, name), kept[name]))
    for name in _names(holder, "SERIES"):
        if name in kept:
            pairs = [(now_ns - age_ns, value) for age_ns, value in kept[name]]
            _refill(holder, name, pairs)
    for name in _names(holder, "LISTS"):
        if name in kept:
            _refill(holder, name, list(kept[name]))


def _names(holder: object, kind: str) -> tuple[str, ...]:
    names: tuple[str, ...] = getattr(type(holder), kind, ())
    return names


def _age(instant_ns: int, now_ns: int) -> int | str:
    if instant_ns == NEVER_NS:
        return "never"
    return "before" if instant_ns == -NEVER_NS else now_ns - instant_ns


def _instant(age_ns: int | str, now_ns: int) -> int:
    if isinstance(age_ns, str):
        return NEVER_NS if age_ns == "never" else -NEVER_NS
    return now_ns - age_ns


def _plain(value: Any) -> Any:
    if isinstance(value, tuple | list):
        return [_plain(part) for part in value]
    if isinstance(value, dict):
        return dict(value)
    if isinstance(value, float) and value - value != 0.0:
        return "inf" if value > 0 else "-inf"
    return value


def _like(sample: Any, value: Any) -> Any:
    if isinstance(sample, Enum):
        return type(sample)(value)
    if isinstance(sample, tuple):
        return tuple(float(part) for part in value)
    return dict(value) if isinstance(value, dict) else value


def _refill(holder: object, name: str, items: list[Any]) -> None:
    present = getattr(holder, name)
    if isinstance(present, deque):
        present.clear()
        present.extend(items)
    else:
        setattr(holder, name, items)
