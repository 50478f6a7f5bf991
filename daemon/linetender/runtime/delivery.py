"""Which event goes to the broker next, and what becomes of it.

Pure: the caller has the clock, the disk and the link. One event is on its way at a time,
the oldest first, and it waits on until the broker has taken it: at least once, and in
order, for a reader that drops an id it has had.
"""

from collections.abc import Iterable

import msgspec

from linetender.core.instants import MILLISECOND_NS, SECOND_NS
from linetender.memory.outbox import Change, Gone, Waiting
from linetender.runtime.outgoing import LOST

CAPACITY = 10_000
"""Events that may wait (chosen: weeks of ordinary days, some MB)."""

STORE_WITHIN_NS = 200 * MILLISECOND_NS
"""An event is told from the disk on; if that takes longer, telling goes first (chosen)."""

ANSWER_WITHIN_NS = 30 * SECOND_NS
"""Without an answer for so long an event is sent again (chosen: a link to a dead peer is
given up sooner)."""

AGAIN_AFTER_NS = 30 * SECOND_NS
"""Wait before an event that the broker refused is offered again (chosen)."""

REFUSED_FROM = 0x80
"""Reason codes from here on are refusals (MQTT 5, 3.4.2.1)."""

NEVER_TAKEN = frozenset({0x90, 0x99})
"""Refusals of the message itself (topic name, payload format): it is given up."""


class Delivery:
    """The events that wait.

    Args:
        waiting: Those of earlier runs, oldest first; they are on the disk.
        capacity: How many may wait.

    Attributes:
        refusal: Reason code with which the broker refused the oldest event, or None.
    """

    def __init__(self, waiting: Iterable[Waiting] = (), capacity: int = CAPACITY) -> None:
        self._rows = {row.seq: row for row in waiting}
        self._capacity = capacity
        self._last_seq = max(self._rows, default=0)
        self._ids = {row.id for row in self._rows.values()}
        self._unstored: dict[int, int] = {}
        self._changes: list[Change] = []
        self._on_its_way: tuple[int, int] | None = None
        self._not_before_ns = 0
        self.refusal: int | None = None

    def __len__(self) -> int:
        """Return how many events wait."""
        return len(self._rows)

    def put(self, made: Waiting, now_ns: int) -> None:
        """Add an event; its place is given here. One whose id waits already is left out."""
        if made.id in self._ids:
            return
        self._last_seq += 1
        self._set(msgspec.structs.replace(made, seq=self._last_seq))
        self._unstored[self._last_seq] = now_ns
        if len(self._rows) > self._capacity:
            self._make_room()

    def take_changes(self) -> list[Change]:
        """Return what is to be stored, in order."""
        taken, self._changes = self._changes, []
        return taken

    def not_stored(self, changes: list[Change]) -> None:
        """Take back changes that the disk did not take."""
        self._changes = [*changes, *self._changes]

    def stored(self, changes: Iterable[Change]) -> None:
        """Note that changes are on the disk."""
        for change in changes:
            self._unstored.pop(change.seq, None)

    def next(self, now_ns: int) -> Waiting | None:
        """Return the event to send now, and count it as sent; None if there is none to send."""
        if now_ns < self._not_before_ns or not self._rows:
            return None
        if self._on_its_way is not None and now_ns < self._on_its_way[1] + ANSWER_WITHIN_NS:
            return None
        row = self._rows[min(self._rows)] if self._on_its_way is None else self._sent_row()
        put_ns = self._unstored.get(row.seq)
        if put_ns is not None and now_ns < put_ns + STORE_WITHIN_NS:
            return None
        self._on_its_way = row.seq, now_ns
        return row

    def answered(self, seq: int, reason: int, now_ns: int) -> None:
        """Take the broker's answer to an event; one for an event that is gone is left out.

        Where the connection was lost before an answer, the event goes again at once.
        """
        if seq not in self._rows:
            return
        if self._on_its_way is not None and self._on_its_way[0] == seq:
            self._on_its_way = None
        if reason == LOST:
            return
        if reason >= REFUSED_FROM and reason not in NEVER_TAKEN:
            self.refusal = reason
            self._not_before_ns = now_ns + AGAIN_AFTER_NS
            return
        self.refusal = None
        self._drop(seq)

    def _sent_row(self) -> Waiting:
        if self._on_its_way is None:
            raise AssertionError("nothing is on its way")
        return self._rows[self._on_its_way[0]]

    def _set(self, row: Waiting) -> None:
        self._rows[row.seq] = row
        self._ids.add(row.id)
        self._changes.append(row)

    def _drop(self, seq: int) -> Waiting:
        row = self._rows.pop(seq)
        self._ids.discard(row.id)
        self._unstored.pop(seq, None)
        self._changes.append(Gone(seq))
        return row

    def _make_room(self) -> None:
        """Give up the oldest events that are not HIGH; one row says how many."""
        sent = None if self._on_its_way is None else self._on_its_way[0]
        free = [row for row in self._rows.values() if row.seq != sent]
        note = next((row for row in free if row.lost), None)
        count = len(self._rows) - self._capacity + (0 if note else 1)
        events = sorted((row for row in free if not row.lost), key=lambda row: (row.high, row.seq))
        given_up = [self._drop(row.seq) for row in events[:count]]
        first = note or min(given_up, key=lambda row: row.seq)
        lost = len(given_up) + (note.lost if note else 0)
        content = first.content if note is None else note.content
        row_id = note.id if note else f"{first.id}-lost"
        self._set(msgspec.structs.replace(first, id=row_id, lost=lost, high=True, content=content))
