"""Silence: no good reading from any of the sources for too long."""

from linetender.core.channel import Channel
from linetender.core.conditions.condition import ABSENT, PRESENT, UNKNOWN, Condition
from linetender.core.conditions.recent import Recent
from linetender.core.instants import NEVER_NS
from linetender.core.plan import Stale
from linetender.core.signals import Signal


class StaleCondition(Condition):
    """Present when none of the channels had a good reading for `after_ns`.

    The silence is counted from the last good reading, or from the instant at which
    the rule began to apply. Where `followed` is given, silence counts only if that
    other condition held shortly before the last good reading.
    """

    __slots__ = (
        "_after_ns",
        "_began_ns",
        "_dismissed",
        "_followed",
        "_followed_within_ns",
        "channels",
    )

    INSTANTS = ("_began_ns",)
    VALUES = (*Condition.VALUES, "_dismissed")

    def __init__(
        self, plan: Stale, channels: tuple[Channel, ...], followed: Recent | None, began_ns: int
    ) -> None:
        super().__init__()
        self._after_ns = plan.after_ns
        self.channels = channels
        self._followed = followed
        self._followed_within_ns = plan.followed_within_ns
        self._began_ns = began_ns
        self._dismissed = False

    def begin(self, now_ns: int) -> None:
        """Count the silence from now."""
        self._began_ns = now_ns
        self._dismissed = False
        self.verdict = UNKNOWN

    def heard(self) -> None:
        """Note a good reading on one of the channels."""
        self._dismissed = False
        self.verdict = ABSENT

    def missed(self, signal: Signal, now_ns: int) -> None:
        """Note a bad reading: unless another signal is heard, nothing is absent for sure."""
        if self.verdict is ABSENT and not self.is_sure_without(signal, now_ns):
            self.verdict = UNKNOWN

    def is_sure_without(self, signal: Signal, now_ns: int) -> bool:
        """Say whether another of its channels is being heard."""
        for channel in self.channels:
            if channel.signal is not signal and channel.is_heard(now_ns):
                return True
        return False

    def due_ns(self) -> int:
        """Return when the silence will have lasted too long."""
        return NEVER_NS if self._dismissed else self._silent_since_ns() + self._after_ns

    def fall_due(self) -> None:
        """Become present, unless it had to follow something that did not happen."""
        if self._followed is None or self._followed.held_before(
            self._silent_since_ns(), self._followed_within_ns
        ):
            self.verdict = PRESENT
            self.why = self.channels[0].reason or "silent"
        else:
            self._dismissed = True
            # Not absent: the next good reading must be looked at, it begins a new silence.
            self.verdict = UNKNOWN

    def _silent_since_ns(self) -> int:
        since_ns = self._began_ns
        for channel in self.channels:
            if channel.last_good_ns > since_ns:
                since_ns = channel.last_good_ns
        return since_ns
