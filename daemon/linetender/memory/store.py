"""One SQLite file per station: opened, brought to the present schema, written whole.

The file survives a power cut: every change is one transaction in the write-ahead log
that is on the disk before the call returns, so after it the change is there whole, or
before it not at all.
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Literal

from linetender.memory.migrations import MIGRATIONS, SCHEMA

FILE_NAME = "memory.sqlite3"

APPLICATION_ID = 0x6C_74_6D_31
"""Marks the file as ours ("ltm1"), so that no other database is taken for one."""

BUSY_S = 5.0
"""How long to wait for another process that is just writing (chosen: many times longer
than any transaction of ours)."""

LOG_ATTEMPTS = 100
"""How often to try to begin the log (chosen: each fails only when another process takes
its turn in between, and processes are few)."""

_PRAGMAS = (
    # NORMAL would lose the last commits at a power cut: what was said to be stored is
    # stored. It costs one fsync per change, and changes are rare.
    "PRAGMA synchronous = FULL",
    "PRAGMA foreign_keys = ON",
    # The log stays small on the card.
    "PRAGMA wal_autocheckpoint = 100",
)


class MemoryFault(RuntimeError):
    """The memory cannot be used; the message names the file, what is wrong, and what to do."""


class Store:
    """An open memory. Make one with `open_store`; use it as a context manager.

    Attributes:
        path: The file.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection) -> None:
        self.path = path
        self._connection = connection

    def __enter__(self) -> "Store":
        return self

    def __exit__(self, *failure: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the file."""
        self._connection.close()

    @property
    def schema(self) -> int:
        """How many scripts the file has had."""
        return int(self._connection.execute("PRAGMA user_version").fetchone()[0])

    @contextmanager
    def changing(self) -> Iterator[sqlite3.Connection]:
        """Give the connection for one transaction: all of it is stored, or nothing.

        Raises:
            MemoryFault: the disk or another process refuses; nothing was changed.
        """
        with _told(self.path), _transaction(self._connection):
            yield self._connection
            self._ask_disk()

    def _ask_disk(self) -> None:
        """Refuse to call stored what a disk that turned read-only only seems to take.

        Files opened before that go on taking data there, and their fsync says nothing
        (seen with ext4).

        Raises:
            MemoryFault: it is read-only.
        """
        if os.statvfs(self.path).f_flag & os.ST_RDONLY:
            raise MemoryFault(
                f"{self.path} cannot be changed: the disk has become read-only. Check the card: "
                "one that fails, or a power cut in the midst of writing, does that."
            )

    def rows(self, query: str, *values: str | int) -> list[sqlite3.Row]:
        """Return what a query finds.

        Raises:
            MemoryFault: the file cannot be read.
        """
        with _told(self.path):
            return self._connection.execute(query, values).fetchall()


def open_store(folder: Path) -> Store:
    """Open the memory in a station's state folder, and make it where there is none.

    An older file is brought to the present schema; each step is a transaction of its
    own, so a power cut in between leaves a whole file of some schema.

    Raises:
        MemoryFault: the file is damaged, of a newer linetender, another program's, or
            the disk refuses.
        OSError: the folder cannot be made.
    """
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    path = folder / FILE_NAME
    with _told(path):
        connection = sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)
        try:
            connection.row_factory = sqlite3.Row
            _check_owner(path, connection)
            _begin_log(connection)
            for pragma in _PRAGMAS:
                connection.execute(pragma)
            _migrate(connection)
        except BaseException:
            connection.close()
            raise
    return Store(path, connection)


def _check_owner(path: Path, connection: sqlite3.Connection) -> None:
    # In one transaction, all three of one instant: another process may be making the file.
    with _transaction(connection, "DEFERRED"):
        owner = connection.execute("PRAGMA application_id").fetchone()[0]
        schema = connection.execute("PRAGMA user_version").fetchone()[0]
        tables = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0]
    if tables and owner != APPLICATION_ID:
        raise MemoryFault(f"{path} is another program's database. Move it away.")
    if schema > SCHEMA:
        raise MemoryFault(
            f"{path} was written by a newer linetender (schema {schema}; this one knows "
            f"{SCHEMA}). Install that version again, or move the file away and teach anew."
        )


def _begin_log(connection: sqlite3.Connection) -> None:
    """Have changes go to a write-ahead log.

    With it readers never wait for a writer, and a torn write is recognised by its checksum.
    The switch itself does not wait for others who are just opening the same new file: it
    is refused, and tried again after a transaction that does wait (`BUSY_S`).
    """
    for attempt in range(LOG_ATTEMPTS):
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            locked = error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY
            if not locked or attempt == LOG_ATTEMPTS - 1:
                raise
        with _transaction(connection, "EXCLUSIVE"):
            pass


def _migrate(connection: sqlite3.Connection) -> None:
    for number, script in enumerate(MIGRATIONS, start=1):
        with _transaction(connection):
            # Asked inside the transaction: another process may have been quicker.
            if connection.execute("PRAGMA user_version").fetchone()[0] >= number:
                continue
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            for statement in script:
                connection.execute(statement)
            connection.execute(f"PRAGMA user_version = {number}")


@contextmanager
def _transaction(
    connection: sqlite3.Connection,
    kind: Literal["DEFERRED", "IMMEDIATE", "EXCLUSIVE"] = "IMMEDIATE",
) -> Iterator[None]:
    connection.execute(f"BEGIN {kind}")
    try:
        yield
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn SQLite's errors into one that says what to do."""
    try:
        yield
    except sqlite3.OperationalError as error:
        raise MemoryFault(
            f"{path} cannot be used ({error}). Check the disk, the permissions, and whether "
            "another program holds it."
        ) from error
    except sqlite3.DatabaseError as error:
        raise MemoryFault(
            f"{path} is damaged or holds what it should not ({error}). Move it away and teach "
            "the line anew."
        ) from error
