"""How a bridge sensor (MS4525DO, HSC, SSC) is read on I2C.

Such a chip takes no commands, has no identifier and no CRC. It is taken for a bridge
sensor when it keeps giving new measurements at a temperature at which it works; which
one, the station file must say. Each measurement is read twice, which shows a bit that
flips on the way.
"""

from linetender_drivers.contracts import Clock
from linetender_drivers.errors import FailureReason
from linetender_drivers.i2c_sensor import I2cChip
from linetender_drivers.measurements import Measurement, within
from linetender_drivers.pace import Seldom
from linetender_drivers.pressure.bridge_decode import (
    FRAME_LENGTH,
    FULL_COUNTS,
    TEMPERATURE_COUNTS,
    TEMPERATURE_RANGE_C,
    BridgeFrame,
    BridgeRange,
    decode_bridge,
)
from linetender_drivers.signal_roles import TEMPERATURE_SIGNAL

NEW_MEASUREMENT_S = 0.010
"""A chip that has nothing new after so long is no bridge sensor, or has stopped (chosen:
these chips take 0.5 to 3 ms)."""

TEMPERATURE_PERIOD_S = 1.0
"""Between two temperatures: they change slowly (chosen)."""

TOLERANCE = 1 / 64
"""By so much of full scale may two successive measurements differ (chosen: noise and
turbulence within a millisecond are less; a flipped high bit is more)."""


class BridgePart:
    """The chip; implements `i2c_sensor.I2cPart`.

    Args:
        clock: Paces the temperatures.
        product: What the station file says it is, for messages.
        pressure_range: From its counts to pressure.
        pressure_signal: What the pressure it measures is called.
        with_temperature: Whether to report the chip's temperature, once a second.
    """

    sample_s = 0.0

    def __init__(
        self,
        clock: Clock,
        product: str,
        pressure_range: BridgeRange,
        pressure_signal: str,
        with_temperature: bool,
    ) -> None:
        self._product = product
        self._range = pressure_range
        self._signal = pressure_signal
        self._with_temperature = with_temperature
        self._temperature = Seldom(clock, TEMPERATURE_PERIOD_S)

    async def start(self, chip: I2cChip) -> None:
        """Judge the chip by a new measurement and its temperature."""
        found = _why_no_bridge_sensor(await _next_frame(chip))
        if found is not None:
            raise chip.wrong_device(f"something {found}", f"a {self._product}")
        await chip.sleep(NEW_MEASUREMENT_S)

    async def sample(self, chip: I2cChip) -> tuple[Measurement, ...]:
        """Return the pressure, at times the temperature too."""
        raw = await chip.read(FRAME_LENGTH)
        frame = decode_bridge(raw, chip.name)
        if frame.is_stale:
            raise chip.bad_frame("an old measurement again: the chip has stopped", raw)
        if not _agree(frame, await _frame(chip)):
            raise chip.bad_frame("read twice, the measurement differs", raw)
        pressure = self._pressure(frame)
        if not self._with_temperature or not self._temperature.is_due():
            return (pressure,)
        return (pressure, within(TEMPERATURE_SIGNAL, frame.temperature_c, *TEMPERATURE_RANGE_C))

    async def stop(self, chip: I2cChip) -> None:
        """Do nothing: the chip always measures."""

    def _pressure(self, frame: BridgeFrame) -> Measurement:
        pressure_pa = self._range.pressure_pa(frame.pressure_counts)
        if pressure_pa is None:
            return Measurement(self._signal, reason=FailureReason.OUT_OF_RANGE)
        return Measurement(self._signal, pressure_pa)


async def _next_frame(chip: I2cChip) -> BridgeFrame:
    await _frame(chip)
    await chip.sleep(NEW_MEASUREMENT_S)
    return await _frame(chip)


async def looks_like_a_bridge_sensor(chip: I2cChip) -> bool:
    """Say, by reading only, whether a chip keeps giving what a bridge sensor would.

    Raises:
        DriverError: nothing answers, or the bus failed.
    """
    return _why_no_bridge_sensor(await _next_frame(chip)) is None


def _why_no_bridge_sensor(frame: BridgeFrame) -> str | None:
    """Say what speaks against a first measurement, or None."""
    low_c, high_c = TEMPERATURE_RANGE_C
    if frame.is_stale:
        return "that measures nothing new"
    if not low_c <= frame.temperature_c <= high_c:
        return f"whose temperature would be {frame.temperature_c:.0f} °C"
    if frame.pressure_counts in (0, FULL_COUNTS):
        return "whose pressure lies at the very end of its counts"
    return None


async def _frame(chip: I2cChip) -> BridgeFrame:
    return decode_bridge(await chip.read(FRAME_LENGTH), chip.name)


def _agree(first: BridgeFrame, second: BridgeFrame) -> bool:
    """Whether two reads tell of the same measurement, or of two that follow each other."""
    pressure = abs(first.pressure_counts - second.pressure_counts)
    temperature = abs(first.temperature_counts - second.temperature_counts)
    if second.is_stale:
        return pressure == temperature == 0
    return pressure <= TOLERANCE * FULL_COUNTS and temperature <= TOLERANCE * TEMPERATURE_COUNTS
