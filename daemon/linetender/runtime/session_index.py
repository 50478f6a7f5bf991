"""Keeps uses, pre-use checks and proof tests in the station's memory, from a thread of its own."""

import logging
from pathlib import Path
from queue import SimpleQueue
from threading import Thread

from linetender.memory.proofs import ProofRecord, proofs_in, store_proof
from linetender.memory.sessions import (
    CheckRecord,
    SessionRecord,
    begin_session,
    sessions_in,
    store_check,
    update_session,
)
from linetender.memory.store import MemoryFault, Store, open_store

_LOG = logging.getLogger(__name__)

_Record = SessionRecord | CheckRecord | ProofRecord
_Wish = tuple[str, _Record]


class SessionIndex:
    """The index of one station. What is handed over returns at once; order is kept.

    Args:
        folder: The station's state folder.

    Attributes:
        open_use: The use that the run before left open, or None.
        proofs: Steps of proof tests, oldest first, those of this run among them.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._row: int | None = None
        self.open_use: SessionRecord | None = None
        self.proofs: list[ProofRecord] = []
        self._wishes: SimpleQueue[_Wish | None] = SimpleQueue()
        self._find_open()
        self._thread = Thread(target=self._run, name="session-index", daemon=True)
        self._thread.start()

    def begin(self, record: SessionRecord) -> None:
        """Keep a use that has begun."""
        self._wishes.put(("begin", record))

    def update(self, record: SessionRecord) -> None:
        """Keep how the last use stands now."""
        self._wishes.put(("update", record))

    def check(self, record: CheckRecord) -> None:
        """Keep a check."""
        self._wishes.put(("check", record))

    def proof(self, record: ProofRecord) -> None:
        """Keep a step of a proof test."""
        self.proofs.append(record)
        self._wishes.put(("proof", record))

    def close(self, within_s: float = 2.0) -> None:
        """Store what waits and stop, `within_s` at most."""
        self._wishes.put(None)
        self._thread.join(within_s)

    def _find_open(self) -> None:
        try:
            with open_store(self._folder) as store:
                known, self.proofs = sessions_in(store), proofs_in(store)
        except (MemoryFault, OSError, ValueError) as error:
            _LOG.warning("uses are not kept: %s", error)
            return
        if known and known[-1][1].ended_at is None:
            self._row, self.open_use = known[-1]

    def _run(self) -> None:
        store: Store | None = None
        while (wish := self._wishes.get()) is not None:
            try:
                store = store or open_store(self._folder)
                self._do(store, *wish)
            except (MemoryFault, OSError) as error:
                _LOG.warning("a use is not kept: %s", error)
        if store is not None:
            store.close()

    def _do(self, store: Store, what: str, record: _Record) -> None:
        if isinstance(record, CheckRecord):
            store_check(store, record)
        elif isinstance(record, ProofRecord):
            store_proof(store, record)
        elif what == "begin":
            self._row = begin_session(store, record)
        elif self._row is not None:
            update_session(store, self._row, record)
