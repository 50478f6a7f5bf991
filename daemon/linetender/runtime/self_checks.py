"""What the station notices about itself: disk, broker, time of day. Told as Facts."""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from linetender.core.fact_names import FactName
from linetender.core.instants import SECOND_NS
from linetender.runtime.clock import StationClock, WallClock
from linetender.runtime.inbox import Inbox

_LOG = logging.getLogger(__name__)

BROKER_LOST_AFTER_NS = 30 * SECOND_NS
"""A broker away for so long is lost (chosen: a restart of it, or of the radio, passes by)."""


class Failing(Protocol):
    """What says for itself why it failed."""

    @property
    def fault(self) -> str | None:
        """The reason, for people; None or empty while all is well."""


@dataclass(frozen=True)
class Checked:
    """What there is to look at; None where the station has none.

    Attributes:
        recorder: Of the session.
        keeper: Of the core's state.
        broker_connected: Whether the broker has accepted the connection.
        wall: The time of day, where it matters that it is right.
        refusal: Why the broker takes no events, for people; empty while it does.
        forbidden: What the broker's access list refuses, for people; empty for nothing.
        filter_due: Until when the filter is good by now (ISO 8601), empty where nothing says.
        renewals: Called at each look: they replace threads that hang.
    """

    recorder: Failing | None = None
    keeper: Failing | None = None
    broker_connected: Callable[[], bool] | None = None
    wall: WallClock | None = None
    refusal: Callable[[], str] | None = None
    forbidden: Callable[[], str] | None = None
    filter_due: Callable[[], str] | None = None
    renewals: Sequence[Callable[[], None]] = ()

    def of_station(
        self,
        recorder: Failing | None,
        keeper: Failing | None,
        broker_connected: Callable[[], bool] | None,
        wall: WallClock | None,
    ) -> "Checked":
        """Return the same with what a station brings itself."""
        return replace(
            self, recorder=recorder, keeper=keeper, broker_connected=broker_connected, wall=wall
        )


class SelfChecks:
    """Looks when it is told to, and gives a Fact for each change."""

    def __init__(self, checked: Checked, inbox: Inbox, clock: StationClock) -> None:
        self._checked = checked
        self._inbox = inbox
        self._clock = clock
        self._said: dict[tuple[FactName, str], str] = {}
        self._connected_ns = clock.now_ns()

    def look(self) -> None:
        """Look at everything once; call it about once a second."""
        checked = self._checked
        for renew_if_stuck in checked.renewals:
            renew_if_stuck()
        if checked.recorder is not None:
            self._say(FactName.STORAGE_FAILED, "recording", checked.recorder.fault or "")
        if checked.keeper is not None:
            self._say(FactName.STORAGE_FAILED, "state", checked.keeper.fault or "")
        if checked.broker_connected is not None:
            self._look_at_broker(connected=checked.broker_connected())
        if checked.refusal is not None:
            self._say(FactName.BROKER_LOST, "events", checked.refusal())
        if checked.forbidden is not None:
            self._say(FactName.DELIVERY_REFUSED, "broker", checked.forbidden())
        if checked.wall is not None:
            wrong = "" if checked.wall().synchronised else "the network has not set the clock yet"
            self._say(FactName.CLOCK_UNSYNCHRONISED, "clock", wrong)

    def _look_at_broker(self, *, connected: bool) -> None:
        now_ns = self._clock.now_ns()
        if connected:
            self._connected_ns = now_ns
        lost = now_ns - self._connected_ns >= BROKER_LOST_AFTER_NS
        self._say(FactName.BROKER_LOST, "broker", "no connection to the broker" if lost else "")

    def _say(self, fact: FactName, subject: str, fault: str) -> None:
        if fault != self._said.get((fact, subject), ""):
            self._said[fact, subject] = fault
            self._inbox.fact(fact, bool(fault), subject, fault)
            if fault and fact is FactName.STORAGE_FAILED:  # the others have a log of their own
                _LOG.error("%s", fault)
