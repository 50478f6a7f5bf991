"""What the verb `run` tells the world beyond the room by: link, outbox, and who looks at them."""

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from linetender.annunciation.topics import Topics
from linetender.recording.writer import RecordingWriter
from linetender.runtime.announcer import wanted_by_announcer
from linetender.runtime.boot import Boot
from linetender.runtime.broker_link import BrokerLink
from linetender.runtime.clock import MonotonicClock, StationClock, read_wall_clock
from linetender.runtime.control_messages import BrokerView
from linetender.runtime.far_ends import wanted_by_station
from linetender.runtime.incoming import Incoming, Reception, Wanted
from linetender.runtime.outbox import Outbox
from linetender.runtime.permission import Permission
from linetender.runtime.remote_commands import CommandGuard
from linetender.runtime.self_checks import Checked
from linetender.settings.station import Station
from linetender.settings.station_file import StationBroker


@dataclass(frozen=True)
class Telling:
    """A station's way to its broker.

    Attributes:
        link: The connection, not started yet.
        clock: Its clock.
        incoming: What comes by it.
        guard: Of commands over the broker; None where they are off.
        permission: What the broker's list refuses.
    """

    link: BrokerLink
    clock: StationClock
    incoming: Incoming
    guard: CommandGuard | None
    permission: Permission

    def is_told(self) -> bool:
        """Say whether the broker confirmed all that it is to keep, or is away."""
        state = self.link.state()
        return not state.connected or state.untold == 0

    def view(self) -> BrokerView:
        """Return how it stands, for people."""
        return self.link.state().view(self.clock.now_ns())

    def is_connected(self) -> bool:
        """Say whether the broker has accepted the connection."""
        return self.link.state().connected


@dataclass
class _Answers:
    """Who minds the broker's answers."""

    guard: CommandGuard
    permission: Permission = field(default_factory=Permission)

    def take(self, topic: str, reason: int) -> None:
        self.guard.answered(topic, reason)
        self.permission.answered(topic, reason)


def telling_of(station: Station, broker: StationBroker) -> Telling:
    """Return the way to the broker that a station file names.

    Raises:
        BrokerSettingsError: its password or its certificates cannot be had.
    """
    topics = Topics(station.plan.station)
    forbidden = frozenset({topics.forbidden_command})
    answers = _Answers(CommandGuard(station.plan.station), Permission(forbidden))
    incoming = Incoming()
    reception = Reception(
        _wanted(broker, topics), incoming.put, answers.take, answers.guard.connected, forbidden
    )
    clock = MonotonicClock()
    link = BrokerLink(
        broker,
        station.plan.station,
        clock,
        folder=station.path.parent,
        reception=reception,
    )
    guard = answers.guard if broker.commands else None
    return Telling(link, clock, incoming, guard, answers.permission)


def outbox_of(station: Station, telling: Telling, folder: Path, run_id: str, boot: Boot) -> Outbox:
    """Return the outbox of a station that tells a broker, not started yet.

    Raises:
        MemoryFault: the memory in the folder cannot be used.
    """
    return Outbox(
        folder,
        Topics(station.plan.station).event,
        run_id,
        boot.name,
        telling.link.publish,
        telling.is_connected,
        read_wall_clock,
        air=station.plan.air,
        state_ns=boot.machine_ns,
    )


def checked_of(
    telling: Telling | None,
    outbox: Outbox | None,
    recorder: RecordingWriter | None,
    clock: StationClock,
) -> Checked:
    """Return what the station looks at of its telling and recording, once a second."""
    renewals: list[Callable[[], None]] = []
    if recorder is not None:
        renewals.append(recorder.renew_if_stuck)
    if telling is None:
        return Checked(renewals=renewals)
    link, permission = telling.link, telling.permission
    renewals += [
        link.renew_if_stuck,
        lambda: permission.try_again(clock.now_ns(), link.say_again),
    ]
    if outbox is not None:
        renewals.append(outbox.renew_if_stuck)
    return Checked(
        refusal=None if outbox is None else lambda: outbox.refusal,
        forbidden=lambda: permission.fault,
        renewals=renewals,
    )


def _wanted(broker: StationBroker, topics: Topics) -> tuple[Wanted, ...]:
    prefix = broker.discovery_prefix
    announced = () if prefix is None else wanted_by_announcer(prefix, topics.station)
    return (*wanted_by_station(topics, commands=broker.commands), *announced)
