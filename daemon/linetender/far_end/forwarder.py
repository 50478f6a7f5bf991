"""Sends what this box's sensors say to a station, once a second; nothing is ever queued.

What the station has not asked for, it refuses. A box that does not hear the station's
heartbeat sends nothing: the station could not tell its packets from old ones.
"""

import asyncio
import logging
import secrets
from collections.abc import Callable, Iterable

from linetender.annunciation.forward_payload import (
    READINGS,
    ForwardedReading,
    ForwardPacket,
    encode_packet,
)
from linetender.annunciation.payloads import Alive
from linetender.annunciation.topics import Topics
from linetender.core.inputs import Input, Reading
from linetender.core.instants import SECOND_NS
from linetender.core.signals import Signal, rounded
from linetender.far_end.heard import NOT_OF_A_STATION, decoded
from linetender.runtime.clock import StationClock
from linetender.runtime.inbox import Inbox
from linetender.runtime.incoming import Incoming, Received, Wanted
from linetender.runtime.progress import Progress
from linetender.runtime.service_manager import ServiceManager
from linetender.runtime.supervisor import BY_RADIO, Supervisor
from linetender.runtime.telling import Publish
from linetender.settings.forward_file import Forwarding
from linetender_drivers.contracts import Machine

_LOG = logging.getLogger(__name__)

PERIOD_NS = SECOND_NS
"""Chosen: as often as an oximeter speaks, and far below what a station takes of one box."""

HEARD_WITHIN_NS = 5 * SECOND_NS
"""A heartbeat older than this counts as none: the station would find the packet late."""

EXPIRY_S = 3
"""The broker gives up a packet after this."""


def wanted_by_forwarder(station: str) -> tuple[Wanted, ...]:
    """Return what a forwarder subscribes to: the station's heartbeat."""
    return (Wanted(Topics(station).alive, qos=0),)


class Forwarder:
    """One run of one box.

    Args:
        forwarding: The box's file.
        machine: Where its sensors are.
        clock: Its own; it is compared with no other.
        publish: Hands a packet to the broker's link.
        incoming: What comes from the broker.
        say: Told when the station is heard, and when it is not any more.
        manager: What restarts the box when its loop does not turn, or None.
    """

    def __init__(
        self,
        forwarding: Forwarding,
        machine: Machine,
        clock: StationClock,
        publish: Publish,
        incoming: Incoming,
        say: Callable[[str], object],
        manager: ServiceManager | None = None,
    ) -> None:
        self._manager = manager
        self._forwarding = forwarding
        self._machine = machine
        self._clock = clock
        self._publish = publish
        self._incoming = incoming
        self._say = say
        self._topics = Topics(forwarding.station)
        self._inbox = Inbox(clock)
        self._sender = secrets.token_hex(4)
        self._count = 0
        self._alive: Alive | None = None
        self._heard_ns = 0
        self._hears = False

    async def run(self) -> None:
        """Forward until cancelled."""
        async with asyncio.TaskGroup() as group:
            group.create_task(self._hear_for_ever())
            group.create_task(self._send_for_ever())
            for device in self._forwarding.devices:
                roles = tuple(signal.value for signal in device.signals)
                sensor = device.spec.opener()(device.name, device.options, self._machine, roles)
                # Nothing here restarts the process when a device hangs: hence no one looks
                # at the progress, and a wired device may be as slow as one by radio.
                supervisor = Supervisor(
                    device, self._inbox, self._clock, Progress(), bounds=BY_RADIO
                )
                group.create_task(supervisor.keep_sensor(sensor))

    async def _hear_for_ever(self) -> None:
        async for received in self._incoming.each():
            self._hear(received)

    def _hear(self, received: Received) -> None:
        if received.retained or received.topic != self._topics.alive:
            return
        try:
            self._alive = decoded(received.payload, Alive)
        except NOT_OF_A_STATION:
            _LOG.debug("a heartbeat cannot be read")
            return
        self._heard_ns = self._clock.now_ns()

    async def _send_for_ever(self) -> None:
        due_ns = self._clock.now_ns()
        while True:
            due_ns = max(due_ns + PERIOD_NS, self._clock.now_ns())
            await self._clock.sleep_until_ns(due_ns)
            self._send(self._inbox.take())
            if self._manager is not None:
                self._manager.turn((), "station heard" if self._hears else "station NOT heard")

    def _send(self, block: list[Input]) -> None:
        alive = self._alive
        hears = alive is not None and self._clock.now_ns() - self._heard_ns <= HEARD_WITHIN_NS
        if hears is not self._hears:
            self._hears = hears
            station = self._forwarding.station
            self._say(
                f"The station {station} is heard; readings go to it."
                if hears
                else f"The station {station} is NOT heard; nothing is forwarded."
            )
        if alive is None or not hears:
            return
        readings = list(newest(block))
        for start in range(0, len(readings), READINGS):
            self._count += 1
            packet = ForwardPacket(
                alive.run,
                alive.seq,
                self._sender,
                self._count,
                tuple(readings[start : start + READINGS]),
            )
            topic = self._topics.forward(self._forwarding.box)
            self._publish(topic, encode_packet(packet), qos=0, expiry_s=EXPIRY_S)


def newest(block: Iterable[Input]) -> Iterable[ForwardedReading]:
    """Return the last reading of each signal, by its signal's name."""
    last: dict[Signal, Reading] = {}
    for item in block:
        if isinstance(item, Reading):
            last[item.signal] = item
    for signal in sorted(last):
        one = last[signal]
        yield ForwardedReading(signal, rounded(signal, one.value), one.reason, one.doubt)
