"""Proof tests as they are kept: a row for each step that came to something."""

import msgspec

from linetender.memory.store import Store


class ProofRecord(msgspec.Struct, frozen=True, kw_only=True):
    """What one step of a proof test came to.

    Attributes:
        ended_at: Time of day (ISO 8601 with offset).
        synchronised: Whether that clock was known to be right.
        who: Who asked for it, as the kernel knows.
        recording: Name of the file in which it lies; empty where nothing was recorded.
        step: Which.
        result: `passed`, `failed`, `skipped`, or `pending`: the box was about to lose its
            power, and somebody has yet to say what the second box did.
        why: In a sentence, where there is something to say.
        clock: What told the instant of the cause: `mains`, `pressure`, `button`, `enter`,
            or `watch` for a person's own; empty where nothing was timed.
        seconds: From cause to sound; for the walk from setting off to being out (s).
        limit_s: What it was held against (s); None where there was nothing.
        rule: The rule that sounded; empty where none did.
    """

    ended_at: str
    synchronised: bool
    step: str
    result: str
    who: str = ""
    recording: str = ""
    why: str = ""
    clock: str = ""
    seconds: float | None = None
    limit_s: float | None = None
    rule: str = ""


def store_proof(store: Store, record: ProofRecord) -> None:
    """Keep a step.

    Raises:
        MemoryFault: it could not be stored.
    """
    plain = msgspec.structs.asdict(record)
    plain["synchronised"] = int(record.synchronised)
    columns, places = ", ".join(plain), ", ".join("?" * len(plain))
    with store.changing() as connection:
        connection.execute(
            f"INSERT INTO proof ({columns}) VALUES ({places})", tuple(plain.values())
        )


def proofs_in(store: Store) -> list[ProofRecord]:
    """Return all steps, oldest first.

    Raises:
        MemoryFault: the file cannot be read.
    """
    made = []
    for row in store.rows("SELECT * FROM proof ORDER BY id"):
        plain = {name: row[name] for name in ProofRecord.__struct_fields__}
        plain["synchronised"] = bool(plain["synchronised"])
        made.append(ProofRecord(**plain))
    return made
