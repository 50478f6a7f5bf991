"""The ledger of filters: when each was fitted, and what was seen while air went through it."""

from datetime import UTC, datetime
from typing import Any

from linetender.airline.filter_history import FilterHistory, FilterPoint
from linetender.memory.store import Store


def fit_filter(
    store: Store,
    fitted_s: float,
    *,
    synchronised: bool,
    is_new: bool,
    label: str = "",
    takes_since: bool = False,
) -> int:
    """Keep that a filter was fitted; return its row. What is seen from now on is of it.

    Args:
        store: The memory.
        fitted_s: When (s since 1970, UTC).
        synchronised: Whether that clock was known to be right.
        is_new: False where it was found in place and nobody knows how old it is.
        label: Its class, or what its owner notes.
        takes_since: Whether stretches that were kept already, and began later, are of it too.

    Raises:
        MemoryFault: it could not be stored.
    """
    values = (_text(fitted_s), int(synchronised), int(is_new), label)
    with store.changing() as connection:
        done = connection.execute(
            "INSERT INTO filter (fitted_at, synchronised, is_new, label) VALUES (?, ?, ?, ?)",
            values,
        )
        row = int(done.lastrowid or 0)
        if takes_since:
            connection.execute(
                "UPDATE filter_point SET filter_id = ? WHERE began_at >= ?", (row, values[0])
            )
    return row


def filter_in_place(store: Store) -> int | None:
    """Return the row of the filter that was fitted last, or None.

    Raises:
        MemoryFault: the file cannot be read.
    """
    rows = store.rows("SELECT max(id) AS id FROM filter")
    return None if rows[0]["id"] is None else int(rows[0]["id"])


def keep_point(store: Store, filter_row: int, point: FilterPoint, row: int | None = None) -> int:
    """Keep a stretch of air through a filter, or how it stands now; return its row.

    Args:
        store: The memory.
        filter_row: The filter.
        point: What was seen.
        row: Of the stretch that goes on; None for a new one.

    Raises:
        MemoryFault: it could not be stored.
    """
    values = (
        filter_row,
        _text(point.began_s),
        int(point.synchronised),
        point.hours,
        point.element_pa,
        point.filter_pa,
        point.fan_rpm,
        point.temperature_c,
    )
    with store.changing() as connection:
        if row is not None:
            connection.execute(
                "UPDATE filter_point SET filter_id = ?, began_at = ?, synchronised = ?, hours = ?, "
                "element_pa = ?, filter_pa = ?, fan_rpm = ?, temperature_c = ? WHERE id = ?",
                (*values, row),
            )
            return row
        done = connection.execute(
            "INSERT INTO filter_point (filter_id, began_at, synchronised, hours, element_pa, "
            "filter_pa, fan_rpm, temperature_c) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            values,
        )
    return int(done.lastrowid or 0)


def filters_in(store: Store) -> list[FilterHistory]:
    """Return every filter with what was seen of it, oldest first.

    Raises:
        MemoryFault: the file cannot be read.
        ValueError: a time in it is none.
    """
    points: dict[int, list[FilterPoint]] = {}
    for row in store.rows("SELECT * FROM filter_point ORDER BY id"):
        points.setdefault(row["filter_id"], []).append(_point(dict(row)))
    return [
        FilterHistory(
            _seconds(row["fitted_at"]),
            bool(row["is_new"]),
            tuple(points.get(row["id"], ())),
            row["label"],
        )
        for row in store.rows("SELECT * FROM filter ORDER BY id")
    ]


def _point(row: dict[str, Any]) -> FilterPoint:
    return FilterPoint(
        _seconds(row["began_at"]),
        bool(row["synchronised"]),
        row["hours"],
        row["element_pa"],
        row["filter_pa"],
        row["fan_rpm"],
        row["temperature_c"],
    )


def _text(at_s: float) -> str:
    return datetime.fromtimestamp(at_s, UTC).isoformat(timespec="seconds")


def _seconds(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()
