"""Devices by script, for tests of what looks after devices."""

import asyncio
from collections.abc import Callable, Sequence

from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender.settings.station import Device
from linetender_drivers.contracts import Clock
from linetender_drivers.measurements import ContactChange, Measurement

PERIOD_S = 0.5
FOR_EVER = "for ever"

Act = Exception | BaseException | str | tuple[object, ...]


def demo_device(name: str) -> Device:
    """Return a device of the demo's station file."""
    station = load_station(shipped("config/demo.toml"))
    return next(device for device in station.devices if device.name == name)


class ScriptedSensor:
    """Reads what its script says, one act each half second; then the last act again.

    An act is a tuple of measurements to return, an exception to raise, or FOR_EVER.

    Attributes:
        calls: Instant (s) and name of each call, in order.
    """

    read_deadline_s = 2.0

    def __init__(
        self, clock: Clock, reads: Sequence[Act], opens: Sequence[Act] = ((),), close: Act = ()
    ) -> None:
        self.calls: list[tuple[float, str]] = []
        self._clock = clock
        self._reads = list(reads)
        self._opens = list(opens)
        self._close = close

    async def open(self) -> None:
        self._note("open")
        await _do(_next(self._opens))

    async def read(self) -> tuple[Measurement, ...]:
        await self._clock.sleep(PERIOD_S)
        self._note("read")
        return await _do(_next(self._reads))  # type: ignore[return-value]

    async def close(self) -> None:
        self._note("close")
        await _do(self._close)

    def _note(self, call: str) -> None:
        self.calls.append((self._clock.now_ns() / 1e9, call))


class ScriptedSwitch(ScriptedSensor):
    """The same for a switch: its reads are changes of one contact."""

    async def change(self) -> ContactChange:
        return (await self.read())[0]  # type: ignore[return-value]


class ScriptedOutput:
    """An output that fails at the instants (s) its script names.

    Attributes:
        written: Instant (s) and level of each successful write.
        calls: Instant (s) and name of each open and close.
    """

    def __init__(self, clock: Clock, broken: Callable[[float], bool] = lambda _: False) -> None:
        self.written: list[tuple[float, bool]] = []
        self.calls: list[tuple[float, str]] = []
        self.failure: Exception = RuntimeError("a mistake in a driver")
        self._clock = clock
        self._broken = broken

    async def open(self) -> None:
        self.calls.append((self._now_s(), "open"))

    def write(self, on: bool) -> None:
        if self._broken(self._now_s()):
            raise self.failure
        self.written.append((self._now_s(), on))

    async def close(self) -> None:
        self.calls.append((self._now_s(), "close"))

    def _now_s(self) -> float:
        return self._clock.now_ns() / 1e9


def _next(acts: list[Act]) -> Act:
    return acts.pop(0) if len(acts) > 1 else acts[0]


async def _do(act: Act) -> tuple[object, ...]:
    if act == FOR_EVER:
        await asyncio.get_running_loop().create_future()
    if isinstance(act, BaseException):
        raise act
    assert isinstance(act, tuple)
    return act
