"""Events that wait for the broker, and the core's state as of the last of them.

Both change in one transaction: after a crash the state knows of an event exactly if
the event waits here or was delivered.
"""

import sqlite3
from collections.abc import Callable, Iterable
from typing import NamedTuple

import msgspec

from linetender.memory.store import Store


class Waiting(msgspec.Struct, frozen=True):
    """One event that waits.

    Attributes:
        seq: Its place: lower ones are delivered first.
        id: Tells it from all others; a reader drops one that it has had.
        at: Time of day at which it happened (ISO 8601 with offset).
        boot: Hashed boot id of the machine then.
        at_ns: The machine's monotonic clock then (ns, of that boot).
        high: Whether its priority is HIGH: such are given up last.
        lost: Events that this row stands for, as they were given up; 0 for an event.
        content: What is told (JSON).
    """

    seq: int
    id: str
    at: str
    boot: str
    at_ns: int
    high: bool
    lost: int
    content: str


class Gone(NamedTuple):
    """A row that waits no longer."""

    seq: int


Change = Waiting | Gone

_FIELDS = ", ".join(Waiting.__struct_fields__)
_PLACES = ", ".join("?" * len(Waiting.__struct_fields__))


class Superseded(Exception):
    """Somebody else stores by now: nothing was stored."""


def store_changes(
    store: Store,
    changes: Iterable[Change],
    state: bytes | None,
    is_current: Callable[[], bool] = lambda: True,
) -> None:
    """Store what changed and the newest state (JSON), in one transaction.

    Args:
        store: The station's memory.
        changes: In order.
        state: The state, or None where it did not change.
        is_current: Asked once nobody else can write: who waited for long may be too late.

    Raises:
        MemoryFault: nothing was stored.
        Superseded: it is not current any more.
    """
    with store.changing() as connection:
        if not is_current():
            raise Superseded
        for change in changes:
            _apply(connection, change)
        if state is not None:
            connection.execute(
                "INSERT OR REPLACE INTO kept_state (id, content) VALUES (1, ?)", (state.decode(),)
            )


def _apply(connection: sqlite3.Connection, change: Change) -> None:
    if isinstance(change, Gone):
        connection.execute("DELETE FROM outbox WHERE seq = ?", (change.seq,))
        return
    values = msgspec.structs.astuple(change)
    connection.execute(f"INSERT OR REPLACE INTO outbox ({_FIELDS}) VALUES ({_PLACES})", values)


def waiting_in(store: Store) -> list[Waiting]:
    """Return what waits, oldest first.

    Raises:
        MemoryFault: the file cannot be read.
    """
    rows = store.rows(f"SELECT {_FIELDS} FROM outbox ORDER BY seq")
    return [msgspec.convert(dict(row), Waiting, strict=False) for row in rows]


def state_in(store: Store) -> bytes | None:
    """Return the state as of the last event (JSON), or None.

    Raises:
        MemoryFault: the file cannot be read.
    """
    rows = store.rows("SELECT content FROM kept_state")
    return rows[0]["content"].encode() if rows else None
