"""One connection to a served world: a station that has opened devices, or a script's hand."""

import asyncio
from collections.abc import Coroutine
from typing import Any, Protocol

import msgspec

from linetender.simulation.gated_time import Gate
from linetender.simulation.guest_devices import GuestDevices, refused
from linetender.simulation.script_hands import ScriptHands
from linetender_drivers.errors import DriverError
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.world_wire import (
    LONGEST_LINE,
    Answer,
    AnyRequest,
    Edge,
    Fault,
    Hello,
    Hold,
    Later,
    Look,
    Pass,
    Press,
    Refused,
    Request,
    Stay,
    Stop,
    Turn,
    Wait,
)

MOST_GUESTS = 16
"""Further ones are turned away (chosen: some stations and a few hands)."""

MOST_UNREAD_BYTES = 1_000_000
"""A guest with more than this unread is dropped (chosen)."""

_DECODER: msgspec.json.Decoder[Any] = msgspec.json.Decoder(AnyRequest)
_ENCODER = msgspec.json.Encoder()

_NO_REQUEST = (msgspec.MsgspecError, RecursionError, ValueError)
"""What comes of decoding something else than a request."""


class Host(Protocol):
    """The world that guests come to.

    Attributes:
        gate: Who holds its time.
        machine: Its devices.
        hands: What scripts do to it.
        epoch: Time of day at its instant 0, ISO 8601.
        guests: All who are there.
    """

    gate: Gate
    machine: SimulatedMachine
    hands: ScriptHands
    epoch: str
    guests: "set[Guest]"

    def look(self) -> dict[str, Any]:
        """Return how the world is."""

    def stop(self) -> None:
        """End the world."""


class Guest(asyncio.Protocol):
    """One connection.

    Attributes:
        name: What it calls itself; None: it is no station.
        is_waiting: Whether it waits for time to pass.
    """

    def __init__(self, host: Host) -> None:
        self.name: str | None = None
        self._host = host
        self._devices = GuestDevices(host.machine, self._interrupt)
        self._rest = b""
        self._told = 0
        self._wait: Wait | None = None
        self._alarm: asyncio.TimerHandle | None = None
        self._tasks: set[asyncio.Task[None]] = set()
        self._transport: asyncio.Transport | None = None

    @property
    def is_waiting(self) -> bool:
        """Whether it waits for time to pass."""
        return self._wait is not None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Let somebody in, unless there are too many."""
        assert isinstance(transport, asyncio.Transport)
        self._transport = transport
        if len(self._host.guests) >= MOST_GUESTS:
            self._say(Refused(0, f"{MOST_GUESTS} others are connected already"))
            transport.close()
            return
        self._host.guests.add(self)

    def connection_lost(self, exc: Exception | None) -> None:
        """Take everything back; time stands still for this one no longer."""
        self._host.guests.discard(self)
        for task in self._tasks:
            task.cancel()
        self._cancel_alarm()
        self._devices.lose()
        self._host.gate.leave(self)

    def data_received(self, data: bytes) -> None:
        """Take requests, in whatever pieces they come."""
        *lines, self._rest = (self._rest + data).split(b"\n")
        for line in lines:
            if len(line) < LONGEST_LINE:
                self._take(line)
        if max(map(len, (*lines, self._rest))) >= LONGEST_LINE:
            self._say(Refused(0, f"a line is over {LONGEST_LINE} bytes"))
            self.close()

    def give_up(self) -> None:
        """End the connection: this station has not said a word for too long."""
        self._say(Refused(0, "this station has let time stand still for too long"))
        self.close()

    def close(self) -> None:
        """End the connection once all has been said."""
        if self._transport is not None:
            self._transport.close()

    def _take(self, line: bytes) -> None:
        try:
            request: Request = _DECODER.decode(line)
        except _NO_REQUEST as error:
            self._say(Refused(0, f"no request: {error}"))
            return
        try:
            answer = self._do(request)
        except DriverError as error:
            self._say(refused(request.id, error))
        except ValueError as error:
            self._say(Refused(request.id, str(error)))
        else:
            if answer is not None:
                self._say(answer)

    def _do(self, request: Request) -> Answer | Later | None:
        """Do what is asked; None: the answer comes later, or there is none."""
        match request:
            case Hello():
                return self._greet(request)
            case Wait():
                self._check_is_station(True)
                self._begin_wait(request)
                return None
            case Stay():
                self._end_wait()
                return None
            case Press() | Pass() | Fault() | Turn() | Hold() | Look() | Stop():
                self._check_is_station(False)
                return self._do_by_hand(request)
        self._check_is_station(True)
        return self._devices.do(request)

    def _greet(self, request: Hello) -> Answer:
        self._check_is_station(False)
        self.name = request.name
        self._host.gate.works(self)
        return Answer(request.id, self._now_ns(), epoch=self._host.epoch, held=self._host.gate.held)

    def _check_is_station(self, wanted: bool) -> None:
        if wanted and self.name is None:
            raise ValueError("a station's first request is `hello`")
        if not wanted and self.name is not None:
            raise ValueError("a station may not do this; take another connection")

    # Time

    def _begin_wait(self, request: Wait) -> None:
        if self._wait is not None:
            raise ValueError("this station waits already")
        self._wait = request
        for_time = request.until_ns is not None or self._devices.are_awaited
        self._host.gate.waits(self, for_time=for_time)
        if request.heard not in (None, self._told):
            self._end_wait()
        else:
            self._set_alarm(request.until_ns)

    def _set_alarm(self, until_ns: int | None) -> None:
        if until_ns is not None:
            loop = asyncio.get_running_loop()
            self._alarm = loop.call_at(until_ns / 1e9, self._ring, until_ns)

    def _ring(self, until_ns: int) -> None:
        if self._now_ns() < until_ns:  # asyncio runs timers due within the next ns at once
            self._set_alarm(until_ns)
        else:
            self._end_wait()

    def _end_wait(self, *first: Edge | Answer | Refused) -> None:
        """Say what there is to say, and let time stand still for this station again."""
        wait, self._wait = self._wait, None
        self._cancel_alarm()
        if wait is None:
            self._say(*first)
            return
        self._host.gate.works(self)
        self._say(*first, Answer(wait.id, self._now_ns()))

    def _interrupt(self, said: Edge | Answer | Refused) -> None:
        self._end_wait(said)

    def _cancel_alarm(self) -> None:
        if self._alarm is not None:
            self._alarm.cancel()
            self._alarm = None

    # A script's hand

    def _do_by_hand(self, request: Request) -> Answer | None:
        hands, world = self._host.hands, None
        match request:
            case Press(_, contact, hold_s):
                self._begin(request.id, hands.press(contact, hold_s))
                return None
            case Pass(_, seconds, gpio, high, stations):
                passing = hands.let_pass(seconds, gpio, high=high, stations=stations)
                self._begin(request.id, passing)
                return None
            case Fault(_, name, clear):
                hands.fault(name, clear=clear)
            case Turn(_, knob, to, over_s):
                hands.turn(knob, to, over_s)
            case Hold(_, held):
                self._host.gate.held = held
            case Look():
                world = self._host.look()
            case Stop():
                self._host.stop()
        return Answer(request.id, self._now_ns(), world=world)

    def _begin(self, number: int, deed: Coroutine[Any, Any, bool | None]) -> None:
        task = asyncio.create_task(self._finish(number, deed))
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _finish(self, number: int, deed: Coroutine[Any, Any, bool | None]) -> None:
        try:
            came = await deed
        except ValueError as error:
            self._say(Refused(number, str(error)))
        else:
            self._say(Answer(number, self._now_ns(), high=came))

    def _now_ns(self) -> int:
        return self._host.machine.clock.now_ns()

    def _say(self, *said: Answer | Refused | Later | Edge) -> None:
        transport = self._transport
        if transport is None or transport.is_closing() or not said:
            return
        self._told += len(said)
        transport.write(b"".join(_ENCODER.encode(each) + b"\n" for each in said))
        if transport.get_write_buffer_size() > MOST_UNREAD_BYTES:
            transport.abort()
