"""The index of uses and of pre-use checks: when, how it ended, and in which recording."""

from typing import Any, TypeVar

import msgspec

from linetender.memory.store import Store

Kept = TypeVar("Kept")


class SessionRecord(msgspec.Struct, frozen=True, kw_only=True):
    """One use of the hood.

    Attributes:
        started_at: Time of day (ISO 8601 with offset).
        synchronised: Whether that clock was known to be right.
        ended_at: Likewise; None while the hood is worn.
        recording: Name of the file in which it began; empty where nothing was recorded.
        check: How the pre-use check stood when the hood went on: `passed`, `refused`, `none`.
        overrides: (step, reason) of each step that was overridden.
        leaves: How many alarms were or became a LEAVE.
        looks: How many began as a LOOK and stayed one.
        false_leaves: How many LEAVEs the wearer marked as false.
        summary: One line for people; empty while it lasts.
        stood: (rule, whether as a LEAVE) of each alarm that stood when the hood went on, and
            did not become a LEAVE since.
    """

    started_at: str
    synchronised: bool
    ended_at: str | None = None
    recording: str = ""
    check: str = "none"
    overrides: tuple[tuple[str, str], ...] = ()
    leaves: int = 0
    looks: int = 0
    false_leaves: int = 0
    summary: str = ""
    stood: tuple[tuple[str, bool], ...] = ()


class CheckRecord(msgspec.Struct, frozen=True, kw_only=True):
    """One pre-use check.

    Attributes:
        ended_at: When it was decided (ISO 8601 with offset).
        synchronised: Whether that clock was known to be right.
        recording: Name of the file.
        outcome: `ready` or `refused`.
        why: Why it was refused, or for how long a check that was passed took hands.
        steps: (step, state, why) of each.
        overrides: (step, reason) of each step that was overridden.
    """

    ended_at: str
    synchronised: bool
    recording: str
    outcome: str
    why: str
    steps: tuple[tuple[str, str, str], ...]
    overrides: tuple[tuple[str, str], ...] = ()


def begin_session(store: Store, record: SessionRecord) -> int:
    """Keep a use that has begun; return its row.

    Raises:
        MemoryFault: it could not be stored.
    """
    return _insert(store, "session", record)


def update_session(store: Store, row: int, record: SessionRecord) -> None:
    """Keep how a use stands now.

    Raises:
        MemoryFault: it could not be stored.
    """
    plain = _plain(record)
    columns = ", ".join(f'"{name}" = ?' for name in plain)
    with store.changing() as connection:
        connection.execute(f"UPDATE session SET {columns} WHERE id = ?", (*plain.values(), row))


def store_check(store: Store, record: CheckRecord) -> int:
    """Keep a pre-use check; return its row.

    Raises:
        MemoryFault: it could not be stored.
    """
    return _insert(store, "pre_use_check", record)


def sessions_in(store: Store) -> list[tuple[int, SessionRecord]]:
    """Return (row, use), oldest first.

    Raises:
        MemoryFault: the file cannot be read.
    """
    rows = store.rows("SELECT * FROM session ORDER BY id")
    return [(row["id"], _record(dict(row), SessionRecord)) for row in rows]


def checks_in(store: Store) -> list[CheckRecord]:
    """Return the pre-use checks, oldest first.

    Raises:
        MemoryFault: the file cannot be read.
    """
    rows = store.rows("SELECT * FROM pre_use_check ORDER BY id")
    return [_record(dict(row), CheckRecord) for row in rows]


_LISTS = ("overrides", "steps", "stood")


def _plain(record: SessionRecord | CheckRecord) -> dict[str, Any]:
    plain = msgspec.structs.asdict(record)
    for name in _LISTS:
        if name in plain:
            plain[name] = msgspec.json.encode(plain[name]).decode()
    plain["synchronised"] = int(record.synchronised)
    return plain


def _columns(plain: dict[str, Any]) -> str:
    return ", ".join(f'"{name}"' for name in plain)


def _insert(store: Store, table: str, record: SessionRecord | CheckRecord) -> int:
    plain = _plain(record)
    places = ", ".join("?" * len(plain))
    with store.changing() as connection:
        done = connection.execute(
            f"INSERT INTO {table} ({_columns(plain)}) VALUES ({places})", tuple(plain.values())
        )
    return int(done.lastrowid or 0)


def _record(row: dict[str, Any], kind: type[Kept]) -> Kept:
    plain = {name: value for name, value in row.items() if name != "id"}
    for name in _LISTS:
        if name in plain:
            plain[name] = msgspec.json.decode(plain[name])
    plain["synchronised"] = bool(plain["synchronised"])
    return msgspec.convert(plain, kind)
