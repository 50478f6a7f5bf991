"""What one station has opened in a served world: its bus calls, lines and radio link."""

import asyncio
from collections.abc import Callable, Coroutine
from typing import Any

from linetender_drivers.errors import DriverError
from linetender_drivers.simulated.machine import SIMULATED, SimulatedMachine
from linetender_drivers.simulated.pins import SimulatedInputLine, SimulatedOutputLine
from linetender_drivers.simulated.plx_peer import SimulatedPeerLink
from linetender_drivers.simulated.world_wire import (
    Answer,
    ClaimInput,
    ClaimOutput,
    Drive,
    Drop,
    Edge,
    GiveBack,
    Later,
    RadioClose,
    RadioNext,
    RadioOpen,
    RadioValue,
    Refused,
    Request,
    Transfer,
)


class GuestDevices:
    """The devices of one station.

    Args:
        machine: The world's.
        tell: Called with edges and late answers.
    """

    def __init__(
        self, machine: SimulatedMachine, tell: Callable[[Edge | Answer | Refused], None]
    ) -> None:
        self._machine = machine
        self._bus = machine.buses[SIMULATED]
        self._tell = tell
        self._inputs: dict[int, SimulatedInputLine] = {}
        self._outputs: dict[int, SimulatedOutputLine] = {}
        self._radio: SimulatedPeerLink | None = None
        self._late: dict[int, asyncio.Task[None]] = {}

    @property
    def are_awaited(self) -> bool:
        """Whether the station awaits an answer that takes simulated time."""
        return bool(self._late)

    def do(self, request: Request) -> Answer | Later:
        """Do what a station asks of its devices.

        Raises:
            DriverError: a device fails.
            ValueError: it cannot be asked so.
        """
        octets: bytes | None = None
        high: bool | None = None
        match request:
            case Transfer(number, address, write, read_n):
                call = self._bus.transfer(address, write, read_n)
                if not self._bus.answers_at_once(address):
                    return self._later(number, call)
                octets = _at_once(call)
            case RadioOpen() | RadioNext() | RadioValue():
                return self._later(request.id, self._radio_call(request))
            case RadioClose():
                self._radio = None
            case ClaimInput(_, gpio, pull_up):
                high = self._claim_input(gpio, pull_up)
            case ClaimOutput(_, gpio, safe_high):
                line = self._machine.simulated_pins.output(gpio, safe_high=safe_high)
                self._outputs[gpio] = line
            case Drive(_, gpio, level):
                self._output(gpio).write(level)
            case GiveBack(_, gpio):
                self._give_back(gpio)
            case Drop(_, late):
                self._drop(late)
            case _:
                raise ValueError("nothing that a station may ask")
        return Answer(request.id, self._machine.clock.now_ns(), octets, high)

    def lose(self) -> None:
        """Leave all as the kernel does when a program is killed: outputs keep their level."""
        for task in self._late.values():
            task.cancel()
        for input_line in self._inputs.values():
            input_line.close()
        for output_line in self._outputs.values():
            output_line.lose()
        self._inputs.clear()
        self._outputs.clear()

    def _claim_input(self, gpio: int, pull_up: bool) -> bool:
        line = self._machine.simulated_pins.input(gpio, pull_up=pull_up)
        self._inputs[gpio] = line
        line.on_edge = lambda: self._tell(Edge(gpio, line.is_high()))
        return line.is_high()

    def _output(self, gpio: int) -> SimulatedOutputLine:
        if gpio not in self._outputs:
            raise ValueError(f"GPIO {gpio} is no output of this station; claim it first")
        return self._outputs[gpio]

    def _give_back(self, gpio: int) -> None:
        line = self._inputs.pop(gpio, None) or self._outputs.pop(gpio, None)
        if line is None:
            raise ValueError(f"GPIO {gpio} was not claimed by this station")
        line.close()

    def _radio_call(self, request: Request) -> Coroutine[Any, Any, bytes | None]:
        if isinstance(request, RadioOpen):
            self._radio = self._machine.notifications(SIMULATED, "", "")
            return self._radio.open()
        radio = self._radio or self._machine.notifications(SIMULATED, "", "")
        if isinstance(request, RadioValue):
            return radio.value(request.characteristic)
        return radio.next()

    def _later(self, number: int, call: Coroutine[Any, Any, bytes | None]) -> Later:
        if number in self._late:
            call.close()
            raise ValueError(f"request {number} is still under way; number them from 1 on")
        self._late[number] = asyncio.create_task(self._finish(number, call))
        return Later(number)

    async def _finish(self, number: int, call: Coroutine[Any, Any, bytes | None]) -> None:
        said: Answer | Refused
        try:
            octets = await call
            said = Answer(number, self._machine.clock.now_ns(), octets)
        except DriverError as error:
            said = refused(number, error)
        finally:
            self._late.pop(number, None)
        self._tell(said)

    def _drop(self, number: int) -> None:
        task = self._late.pop(number, None)
        if task is not None:
            task.cancel()


def refused(number: int, error: DriverError) -> Refused:
    """Put a device's failure into words that its driver's other end can make it from."""
    why = str(error).removeprefix(f"{error.device}: ")
    return Refused(number, why, error.device, error.reason.value, type(error).__name__)


def _at_once(call: Coroutine[Any, Any, bytes]) -> bytes:
    """Run a coroutine that waits for nothing."""
    try:
        call.send(None)
    except StopIteration as done:
        return bytes(done.value)
    call.close()
    raise ValueError("the call waits for something")
