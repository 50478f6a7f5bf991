"""What each fault of the I2C bus costs: its reason, when it comes, and how late the loop runs.

    python tests/benchmarks/i2c_fault_lateness.py

The real bus with its thread, over a stand-in for the kernel that talks to a simulated
chip. Prints; asserts no time. Yardsticks: a reason within the driver's deadline (1.04 s),
and a loop that is never over 10 ms late.
"""

import asyncio
import errno
import tempfile
import time
from collections.abc import Callable
from typing import Any

from linetender_drivers.buses.i2c import RealI2cBus
from linetender_drivers.errors import DriverError
from linetender_drivers.pressure.sdp8xx import open_sdp8xx
from linetender_drivers.pressure.sdp8xx_spec import Sdp8xxOptions
from linetender_drivers.simulated.i2c_bus import NotAcknowledged
from linetender_drivers.simulated.sdp8xx_chip import Sdp8xxChip

KERNEL_GIVES_UP_S = 0.1
HANG_S = 3.0
PROBE_S = 0.002
FAULT_S = 2.0


def _fails(number: int, after_s: float = 0.0) -> Callable[[bytes], bytes]:
    def fail(_: bytes) -> bytes:
        time.sleep(after_s)
        raise OSError(number, "ordered")

    return fail


def _hangs(answer: bytes) -> bytes:
    time.sleep(HANG_S)
    return answer


FAULTS: dict[str, Callable[[bytes], bytes]] = {
    "none": bytes,
    "NACK": _fails(errno.EREMOTEIO),
    "EIO": _fails(errno.EIO),
    "EAGAIN": _fails(errno.EAGAIN),
    "ETIMEDOUT (SDA held low)": _fails(errno.ETIMEDOUT, KERNEL_GIVES_UP_S),
    "never returns": _hangs,
    "flipped bit": lambda answer: answer[:-1] + bytes([answer[-1] ^ 1]) if answer else answer,
    "all zeros": lambda answer: bytes(len(answer)),
}


class Kernel:
    """Stands for `smbus2.SMBus`.

    Attributes:
        fault: What happens to each answer.
        chip: At every address.
    """

    fault = staticmethod(bytes)
    chip = Sdp8xxChip()

    def __init__(self, _path: str) -> None:
        self.fd: int | None = None

    def i2c_rdwr(self, *messages: Any) -> None:
        """Make one transfer."""
        for message in messages:
            try:
                answer = self._message(message)
            except NotAcknowledged as error:
                raise OSError(errno.EREMOTEIO, "not acknowledged") from error
            for position, byte in enumerate(type(self).fault(answer)):
                message.buf[position] = byte

    def _message(self, message: Any) -> bytes:
        now_ns = time.monotonic_ns()
        if message.flags:
            return self.chip.read(message.len, now_ns)
        self.chip.write(bytes(message), now_ns)
        return b""

    def close(self) -> None:
        """Close nothing."""


class Wall:
    """The clock of this computer; also the machine, with one bus."""

    def __init__(self, bus: RealI2cBus) -> None:
        self.clock = self
        self._bus = bus

    def now_ns(self) -> int:
        """Return monotonic time, ns."""
        return time.monotonic_ns()

    async def sleep(self, seconds: float) -> None:
        """Wait, s."""
        await asyncio.sleep(seconds)

    def i2c(self, _bus: str) -> RealI2cBus:
        """Return the bus."""
        return self._bus


async def probe(lateness_s: list[float]) -> None:
    """Note for ever how late the loop comes back."""
    while True:
        due_s = time.perf_counter() + PROBE_S
        await asyncio.sleep(PROBE_S)
        lateness_s.append(time.perf_counter() - due_s)


async def one(name: str) -> None:
    """Open, read, have the fault for a while, and print what came of it."""
    with tempfile.NamedTemporaryFile() as node:
        bus = RealI2cBus(node.name, open_bus=Kernel)
        options = Sdp8xxOptions(bus="/dev/any")
        sensor = open_sdp8xx("air", options, Wall(bus), ("duct_pressure_pa",))  # type: ignore[arg-type]
        await sensor.open()
        await sensor.read()
        lateness_s: list[float] = []
        probing = asyncio.ensure_future(probe(lateness_s))
        Kernel.fault = staticmethod(FAULTS[name])
        seen: dict[str, int] = {}
        longest_s = 0.0
        end_s = time.perf_counter() + FAULT_S
        while time.perf_counter() < end_s:
            before_s = time.perf_counter()
            try:
                async with asyncio.timeout(sensor.read_deadline_s):
                    (made,) = await sensor.read()
                outcome = made.reason or "a value"
            except DriverError as error:
                outcome = error.reason.value
            seen[outcome] = seen.get(outcome, 0) + 1
            longest_s = max(longest_s, time.perf_counter() - before_s)
        probing.cancel()
        Kernel.fault = staticmethod(bytes)
        bus.close()
    outcomes = ", ".join(f"{number} × {outcome}" for outcome, number in seen.items())
    print(
        f"{name:26} {outcomes:24} after at most {1000 * longest_s:6.1f} ms; "
        f"loop late by at most {1000 * max(lateness_s):5.2f} ms"
    )


def main() -> None:
    """Try each fault in turn."""
    for name in FAULTS:
        Kernel.chip.power_cycle()
        asyncio.run(one(name))


if __name__ == "__main__":
    main()
