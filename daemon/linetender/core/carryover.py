"""What must outlive a Watch: everything that changes in it, as durations, never instants."""

import msgspec

from linetender.core.keeping import Kept


class Carryover(msgspec.Struct, frozen=True, omit_defaults=True):
    """Kept state, by part of the core.

    With `is_restart` false (file rotation, reload, a gap on the disk) a new Watch
    continues identically. After a restart nothing is lowered or cleared: raising
    timers count down what is known of the blind time, off-delays start again, open
    windows are empty.

    Attributes:
        parts: Part of the core to its kept state.
        is_restart: Whether the station was blind in between.
        blind_ns: For how long; None where nobody knows.
    """

    parts: dict[str, Kept]
    is_restart: bool = False
    blind_ns: int | None = None

    def after_restart(self, blind_ns: int | None) -> "Carryover":
        """Return the same, to be restored after a time without watching."""
        return msgspec.structs.replace(self, is_restart=True, blind_ns=blind_ns)
