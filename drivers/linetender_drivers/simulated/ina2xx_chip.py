"""A simulated INA219 or INA226 chip, down to its registers and times.

From memory of the data sheets. Not simulated: power and current registers, alerts, and
continuous conversion (the chip converts when its configuration is written).
"""

from collections.abc import Callable

from linetender_drivers.fan.ina2xx_decode import INA219, INA226, Ina2xx
from linetender_drivers.simulated.i2c_bus import NotAcknowledged

CONFIGURATION, SHUNT, BUS, CALIBRATION, MASK = 0x00, 0x01, 0x02, 0x05, 0x06
IDENTIFIERS = {0xFE: 0x5449, 0xFF: 0x2260}
RESET_BIT = 0x8000
INA219_READY = 0x0002
INA226_READY = 0x0008
CONVERSION_NS = {INA219.name: 136_200_000, INA226.name: 35_200_000}
"""The conversions that the driver orders, at their usual speed."""


class Ina2xxChip:
    """The chip as after power-up; implements `i2c_bus.SimulatedChip`.

    Args:
        part: Which of the two.
        shunt_ohm: Resistance of the shunt on its board, Ω.

    Attributes:
        current_a: Through the shunt (A) at a time (ns). Set it at will.
        supply_v: Voltage of the supply (V) at a time (ns).
    """

    def __init__(self, part: Ina2xx = INA219, shunt_ohm: float = 0.1) -> None:
        self.current_a: Callable[[int], float] = lambda _: 0.0
        self.supply_v: Callable[[int], float] = lambda _: 12.0
        self._part = part
        self._shunt_ohm = shunt_ohm
        self.power_cycle()

    def power_cycle(self) -> None:
        """Lose power and get it back."""
        self._registers = {
            CONFIGURATION: self._part.reset_configuration,
            SHUNT: 0,
            BUS: 0,
            CALIBRATION: 0,
        }
        if self._part is INA226:
            self._registers |= IDENTIFIERS | {MASK: 0}
        self._pointer = CONFIGURATION
        self._done_ns: int | None = None

    def write(self, data: bytes, now_ns: int) -> None:
        """Take a register's number, and its new value if two bytes follow.

        Raises:
            NotAcknowledged: there is no such register.
        """
        self._pointer = data[0]
        if self._pointer not in self._registers:
            raise NotAcknowledged
        if len(data) != 3:
            return
        word = int.from_bytes(data[1:], "big")
        if self._pointer == CONFIGURATION and word & RESET_BIT:
            self.power_cycle()
        elif self._pointer == CONFIGURATION:
            self._registers[CONFIGURATION] = word
            self._registers[BUS] &= ~INA219_READY if self._part is INA219 else 0xFFFF
            self._done_ns = now_ns + CONVERSION_NS[self._part.name]
        elif self._pointer == CALIBRATION:
            self._registers[CALIBRATION] = word

    def read(self, length: int, now_ns: int) -> bytes:
        """Give the register that the pointer is at, followed by 0xFF if more is read."""
        if self._done_ns is not None and now_ns >= self._done_ns:
            self._convert(self._done_ns)
            self._done_ns = None
        word = self._registers[self._pointer]
        if self._pointer == MASK:
            self._registers[MASK] = 0
        return word.to_bytes(2, "big")[:length].ljust(length, b"\xff")

    def _convert(self, now_ns: int) -> None:
        part = self._part
        limit = round(part.shunt_limit_v / part.shunt_step_v)
        counts = round(self.current_a(now_ns) * self._shunt_ohm / part.shunt_step_v)
        self._registers[SHUNT] = max(-limit, min(limit - 1, counts)) & 0xFFFF
        most = (0xFFFF if part is INA219 else 0x7FFF) >> part.bus_shift
        bus = max(0, min(most, round(self.supply_v(now_ns) / part.bus_step_v)))
        self._registers[BUS] = bus << part.bus_shift
        if part is INA219:
            self._registers[BUS] |= INA219_READY
        else:
            self._registers[MASK] = INA226_READY
