"""Work that was begun and not finished, so that an interruption costs nothing."""

from linetender.memory.store import Store


def keep_draft(store: Store, name: str, begun_at: str, content: bytes) -> None:
    """Keep the present state of some work (JSON), in place of the one before.

    Raises:
        MemoryFault: it could not be stored.
    """
    with store.changing() as connection:
        connection.execute(
            "INSERT INTO draft (name, begun_at, content) VALUES (?, ?, ?) "
            "ON CONFLICT (name) DO UPDATE SET begun_at = excluded.begun_at, "
            "content = excluded.content",
            (name, begun_at, content.decode()),
        )


def draft(store: Store, name: str) -> bytes | None:
    """Return the state of some work (JSON), or None where none waits.

    Raises:
        MemoryFault: the file cannot be read.
    """
    rows = store.rows("SELECT content FROM draft WHERE name = ?", name)
    return rows[0]["content"].encode() if rows else None


def drop_draft(store: Store, name: str) -> None:
    """Forget some work: it is finished, or shall begin anew.

    Raises:
        MemoryFault: it could not be stored.
    """
    with store.changing() as connection:
        connection.execute("DELETE FROM draft WHERE name = ?", (name,))
