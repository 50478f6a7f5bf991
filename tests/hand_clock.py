"""Libraries of others block: a clock that they move, and their buses on the simulated one."""

import asyncio

from sensirion_i2c_driver.transceiver_v1 import I2cTransceiverV1

from linetender_drivers.errors import DriverError, FailureReason
from linetender_drivers.simulated.i2c_bus import SimulatedI2cBus


class HandClock:
    """A clock that moves when told to."""

    def __init__(self) -> None:
        self.time_ns = 0

    def now_ns(self) -> int:
        return self.time_ns

    async def sleep(self, seconds: float) -> None:
        self.wait(seconds)

    def wait(self, seconds: float) -> None:
        self.time_ns += round(seconds * 1e9)


class MakerTransceiver(I2cTransceiverV1):
    """The interface of one sensor maker's drivers, on a simulated bus."""

    def __init__(self, bus: SimulatedI2cBus, clock: HandClock) -> None:
        self._bus = bus
        self._clock = clock

    def transceive(
        self,
        slave_address: int,
        tx_data: bytes | None,
        rx_length: int | None,
        read_delay: float,
        timeout: float,
    ) -> tuple[int, Exception | None, bytes]:
        self._clock.wait(0.001)  # the bytes on the wire, generously
        received = b""
        try:
            if tx_data:
                asyncio.run(self._bus.transfer(slave_address, bytes(tx_data), 0))
            self._clock.wait(read_delay)
            if rx_length:
                received = asyncio.run(self._bus.transfer(slave_address, b"", rx_length))
        except DriverError as error:
            assert error.reason is FailureReason.NACK
            return self.STATUS_NACK, error, b""
        return self.STATUS_OK, None, received
