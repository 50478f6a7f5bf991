"""The real I2C bus over a stand-in for smbus2: threads, deadlines, error numbers, the lock."""

import asyncio
import errno
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from linetender_drivers.buses.i2c import MAX_HUNG_THREADS, RealI2cBus
from linetender_drivers.errors import (
    DeviceNotFound,
    DeviceTimeout,
    DriverConfigError,
    DriverError,
    FailureReason,
)

ENOUGH_S = 20.0
"""A deadline that only a broken bus misses."""

SHORT_S = 0.2
"""A deadline that a call which never returns must miss."""


class StandIn:
    """Stands for `smbus2.SMBus`: notes every message and answers 01 02 03 and so on."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.fd: int | None = None
        self.transfers: list[list[tuple[str, int, bytes | int]]] = []
        self.threads: set[int] = set()
        self.closed = threading.Event()
        self.failure: OSError | None = None

    def i2c_rdwr(self, *messages: Any) -> None:
        self.threads.add(threading.get_ident())
        if self.failure:
            raise self.failure
        self.transfers.append([_described(message) for message in messages])
        for message in messages:
            if message.flags:
                for position in range(message.len):
                    message.buf[position] = position + 1

    def close(self) -> None:
        self.closed.set()


def _described(message: Any) -> tuple[str, int, bytes | int]:
    if message.flags:
        return ("read", message.addr, message.len)
    return ("write", message.addr, bytes(message))


class Hanging(StandIn):
    """Does not come back from a transfer until released."""

    def __init__(self, path: str) -> None:
        super().__init__(path)
        self.released = threading.Event()

    def i2c_rdwr(self, *messages: Any) -> None:
        self.released.wait()
        super().i2c_rdwr(*messages)


@pytest.fixture
def node(tmp_path: Path) -> str:
    """A file in place of the device node; a lock works on any file."""
    path = tmp_path / "i2c-1"
    path.touch()
    return str(path)


@pytest.fixture
def hanging() -> Iterator[list[Hanging]]:
    """Those made in a test, released at its end so that their threads end."""
    made: list[Hanging] = []
    yield made
    for bus in made:
        bus.released.set()


def run(
    node: str,
    open_bus: Callable[[str], StandIn],
    *transfers: tuple[int, bytes, int],
    deadline_s: float = ENOUGH_S,
) -> list[bytes | DriverError]:
    """Make transfers one after another; an error stands for its transfer."""

    async def all_of_them() -> list[bytes | DriverError]:
        answers: list[bytes | DriverError] = []
        with closing(RealI2cBus(node, open_bus=open_bus, deadline_s=deadline_s)) as bus:
            for transfer in transfers:
                try:
                    answers.append(await bus.transfer(*transfer))
                except DriverError as error:
                    answers.append(error)
        return answers

    return asyncio.run(all_of_them())


def test_each_transfer_is_one_call_with_one_message_per_direction(node: str) -> None:
    stand_in = StandIn(node)
    answers = run(
        node,
        lambda _: stand_in,
        (0x25, b"\x36\x15", 0),
        (0x25, b"", 3),
        (0x26, b"\xe1\x02", 2),
    )
    assert answers == [b"", b"\x01\x02\x03", b"\x01\x02"]
    assert stand_in.transfers == [
        [("write", 0x25, b"\x36\x15")],
        [("read", 0x25, 3)],
        [("write", 0x26, b"\xe1\x02"), ("read", 0x26, 2)],
    ]


def test_one_thread_makes_all_calls_and_closes_the_node(node: str) -> None:
    stand_in = StandIn(node)
    run(node, lambda _: stand_in, *[(0x25, b"", 1)] * 5)
    assert len(stand_in.threads) == 1
    assert threading.get_ident() not in stand_in.threads
    assert stand_in.closed.wait(ENOUGH_S)


def test_simultaneous_transfers_each_get_their_own_answer(node: str) -> None:
    async def at_once() -> list[bytes]:
        with closing(RealI2cBus(node, open_bus=StandIn, deadline_s=ENOUGH_S)) as bus:
            return list(await asyncio.gather(*(bus.transfer(0x25, b"", n) for n in range(1, 30))))

    assert asyncio.run(at_once()) == [bytes(range(1, n + 1)) for n in range(1, 30)]


@pytest.mark.parametrize(
    ("number", "kind", "reason"),
    [
        (errno.EREMOTEIO, DriverError, FailureReason.NACK),
        (errno.ENXIO, DriverError, FailureReason.NACK),
        (errno.ETIMEDOUT, DeviceTimeout, FailureReason.TIMEOUT),
        (errno.EAGAIN, DriverError, FailureReason.BUS_ERROR),
        (errno.EIO, DriverError, FailureReason.BUS_ERROR),
        (errno.EINVAL, DriverError, FailureReason.BUS_ERROR),
        (errno.ENODEV, DeviceNotFound, FailureReason.NOT_FOUND),
    ],
)
def test_every_error_number_has_its_reason(
    node: str, number: int, kind: type[DriverError], reason: FailureReason
) -> None:
    stand_in = StandIn(node)
    stand_in.failure = OSError(number, "as the kernel says")
    (error,) = run(node, lambda _: stand_in, (0x25, b"", 9))
    assert isinstance(error, DriverError)
    assert (type(error), error.reason) == (kind, reason)
    assert str(error).startswith(f"{node} 0x25: ")
    assert isinstance(error.__cause__, OSError)


def test_arbitration_is_told_apart_in_words(node: str) -> None:
    stand_in = StandIn(node)
    stand_in.failure = BlockingIOError(errno.EAGAIN, "as the kernel says")
    (error,) = run(node, lambda _: stand_in, (0x25, b"", 9))
    assert "arbitration lost" in str(error)


def test_a_bus_works_on_after_an_error(node: str) -> None:
    stand_in = StandIn(node)
    stand_in.failure = OSError(errno.EIO, "once")

    async def twice() -> bytes:
        with closing(RealI2cBus(node, open_bus=lambda _: stand_in, deadline_s=ENOUGH_S)) as bus:
            with pytest.raises(DriverError):
                await bus.transfer(0x25, b"", 2)
            stand_in.failure = None
            return await bus.transfer(0x25, b"", 2)

    assert asyncio.run(twice()) == b"\x01\x02"


def test_a_call_that_never_returns_is_a_timeout_and_its_thread_is_replaced(
    node: str, hanging: list[Hanging]
) -> None:
    def open_bus(path: str) -> StandIn:
        if hanging:
            return StandIn(path)
        hanging.append(Hanging(path))
        return hanging[0]

    async def hang_then_read() -> bytes:
        with closing(RealI2cBus(node, open_bus=open_bus, deadline_s=SHORT_S)) as bus:
            with pytest.raises(DeviceTimeout, match=r"0x25: .* not returned after 0\.2 s"):
                await bus.transfer(0x25, b"", 9)
            bus._deadline_s = ENOUGH_S  # a loaded machine may start a thread slowly
            return await bus.transfer(0x25, b"", 1)

    assert asyncio.run(hang_then_read()) == b"\x01"
    assert not hanging[0].closed.is_set()
    hanging[0].released.set()
    assert hanging[0].closed.wait(ENOUGH_S), "a thread that comes back late closes up and ends"


def test_what_queues_behind_a_hung_call_is_never_sent_late(
    node: str, hanging: list[Hanging]
) -> None:
    def open_bus(path: str) -> StandIn:
        hanging.append(Hanging(path))
        return hanging[-1]

    async def two_at_once() -> list[bytes | BaseException]:
        with closing(RealI2cBus(node, open_bus=open_bus, deadline_s=SHORT_S)) as bus:
            answers = await asyncio.gather(
                bus.transfer(0x25, b"", 9),
                bus.transfer(0x26, b"\x3f\xf9", 0),
                return_exceptions=True,
            )
            return list(answers)

    assert [type(answer) for answer in asyncio.run(two_at_once())] == [DeviceTimeout] * 2
    hanging[0].released.set()
    assert hanging[0].closed.wait(ENOUGH_S)
    assert hanging[0].transfers == [[("read", 0x25, 9)]]
    assert len(hanging) == 1


def test_a_bus_that_hangs_for_good_does_not_gather_threads_for_ever(
    node: str, hanging: list[Hanging]
) -> None:
    def open_bus(path: str) -> StandIn:
        hanging.append(Hanging(path))
        return hanging[-1]

    answers = run(node, open_bus, *[(0x25, b"", 9)] * (MAX_HUNG_THREADS + 3), deadline_s=SHORT_S)
    assert {type(answer) for answer in answers} == {DeviceTimeout}
    assert len(hanging) == MAX_HUNG_THREADS
    assert "hang inside the kernel" in str(answers[-1])


def test_a_waiter_that_gives_up_harms_nobody(node: str, hanging: list[Hanging]) -> None:
    hanging.append(Hanging(node))

    async def cancel_then_read() -> bytes:
        with closing(RealI2cBus(node, open_bus=lambda _: hanging[0], deadline_s=ENOUGH_S)) as bus:
            first = asyncio.create_task(bus.transfer(0x25, b"", 9))
            await asyncio.sleep(0)
            first.cancel()
            with pytest.raises(asyncio.CancelledError):
                await first
            hanging[0].released.set()
            return await bus.transfer(0x25, b"", 2)

    assert asyncio.run(cancel_then_read()) == b"\x01\x02"


def test_a_missing_bus_says_how_to_enable_it(tmp_path: Path) -> None:
    (error,) = run(str(tmp_path / "i2c-9"), StandIn, (0x25, b"", 9))
    assert isinstance(error, DeviceNotFound)
    assert "enable I2C" in str(error)


@pytest.mark.parametrize(
    ("number", "kind", "words"),
    [
        (errno.EACCES, DriverConfigError, "group i2c"),
        (errno.ENODEV, DeviceNotFound, "enable I2C"),
        (errno.EMFILE, DriverError, "cannot be opened"),
    ],
)
def test_a_bus_that_does_not_open(
    node: str, number: int, kind: type[DriverError], words: str
) -> None:
    def refuse(path: str) -> StandIn:
        raise OSError(number, "as the kernel says")

    (error,) = run(node, refuse, (0x25, b"", 9))
    assert type(error) is kind
    assert words in str(error)


def test_a_bus_in_use_is_refused_and_free_again_after_close(node: str) -> None:
    async def three_owners() -> bytes:
        first = RealI2cBus(node, open_bus=StandIn, deadline_s=ENOUGH_S)
        second = RealI2cBus(node, open_bus=StandIn, deadline_s=ENOUGH_S)
        with closing(first), closing(second):
            await first.transfer(0x25, b"", 1)
            with pytest.raises(DriverConfigError, match="another program owns this bus"):
                await second.transfer(0x25, b"", 1)
            first.close()
            return await second.transfer(0x25, b"", 1)

    assert asyncio.run(three_owners()) == b"\x01"


def test_a_closed_bus_says_so(node: str) -> None:
    async def after_close() -> None:
        bus = RealI2cBus(node, open_bus=StandIn)
        bus.close()
        with pytest.raises(DriverError) as caught:
            await bus.transfer(0x25, b"", 1)
        assert caught.value.reason is FailureReason.CLOSED

    asyncio.run(after_close())


def test_a_transfer_of_nothing_is_refused(node: str) -> None:
    with pytest.raises(ValueError, match="at least one byte"):
        run(node, StandIn, (0x25, b"", 0))


class Refusing(StandIn):
    """Fails with these error numbers, one for each call, then works."""

    def __init__(self, path: str, *numbers: int) -> None:
        super().__init__(path)
        self.numbers = list(numbers)
        self.calls = 0

    def i2c_rdwr(self, *messages: Any) -> None:
        self.calls += 1
        if self.numbers:
            raise OSError(self.numbers.pop(0), "as ordered")
        super().i2c_rdwr(*messages)


NACK, ARBITRATION, STUCK = errno.EREMOTEIO, errno.EAGAIN, errno.ETIMEDOUT


@pytest.mark.parametrize(
    ("transfer", "numbers", "calls", "answer"),
    [
        ((0x25, b"", 2), [NACK, ARBITRATION], 3, b"\x01\x02"),
        ((0x48, b"\x02", 2), [NACK], 2, b"\x01\x02"),
        ((0x25, b"", 2), [NACK] * 3, 3, FailureReason.NACK),
        ((0x25, b"", 2), [ARBITRATION, NACK, NACK], 3, FailureReason.BUS_ERROR),
        ((0x25, b"", 2), [STUCK], 1, FailureReason.TIMEOUT),
        ((0x25, b"", 2), [NACK, errno.EIO], 2, FailureReason.BUS_ERROR),
        ((0x25, b"\x36\x15", 0), [NACK], 1, FailureReason.NACK),
        ((0x48, b"\x01\x85", 2), [NACK], 1, FailureReason.NACK),
    ],
)
def test_only_reads_that_set_nothing_are_tried_again(
    node: str,
    transfer: tuple[int, bytes, int],
    numbers: list[int],
    calls: int,
    answer: bytes | FailureReason,
) -> None:
    stand_in = Refusing(node, *numbers)
    (got,) = run(node, lambda _: stand_in, transfer)
    assert (got.reason if isinstance(got, DriverError) else got) == answer
    assert stand_in.calls == calls


@pytest.mark.parametrize(
    ("numbers", "opened"),
    [
        ([STUCK] * 3, 2),
        ([errno.EIO, STUCK, ARBITRATION], 2),
        ([NACK] * 3, 1),
        ([STUCK] * 2, 1),
        ([STUCK] * 6, 3),
    ],
)
def test_a_bus_that_keeps_failing_is_opened_anew_and_says_so(
    node: str, caplog: pytest.LogCaptureFixture, numbers: list[int], opened: int
) -> None:
    made = [Refusing(node, *numbers[first:][:3]) for first in (0, 3, 6)]
    used: list[Refusing] = []

    def open_bus(_path: str) -> Refusing:
        used.append(made[len(used)])
        return used[-1]

    answers = run(node, open_bus, *[(0x25, b"\x36\x15", 0)] * 10)
    assert answers[-1] == b""
    assert len(used) == opened
    assert [bus.closed.wait(ENOUGH_S) for bus in used] == [True] * opened
    told = [record.getMessage() for record in caplog.records if "opening it anew" in record.msg]
    assert told == [f"{node}: 3 failures in a row; opening it anew"] * (opened > 1)
