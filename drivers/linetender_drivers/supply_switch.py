"""The last rung of the recovery ladder: cutting the supply of a chip that cannot be started.

A chip that holds the data line low, or that hangs, is freed by losing its power. The switch
stands in the supply of the sensor, its gate on a digital line. The line is claimed for the
cut only: outside it, and while no program runs, a pull resistor keeps the supply on.
"""

import logging
from collections.abc import Callable

from linetender_drivers.contracts import Clock, OutputLine, Pins
from linetender_drivers.errors import DriverError, FailureReason
from linetender_drivers.pace import NS_PER_S

log = logging.getLogger(__name__)

STARTS_BEFORE_CUT = 3
"""So many starts without one good reading come first (chosen: by then a failing bus has been
opened anew, and a plug that was only loose has been pushed in)."""

CUT_S = 1.0
"""For so long the supply is off (chosen: it must fall below what resets the chip, also
through a board's own capacitors)."""

SETTLE_S = 0.1
"""From then until the chip is started (chosen: the slowest pressure sensor here is up after
some 25 ms; a gas sensor that takes longer is found at the next start)."""

BETWEEN_CUTS_NS = 60 * NS_PER_S
"""A chip that is not there must not lose its supply, or another's on the same switch, again
and again (chosen)."""

POWER_DOES_NOT_HELP = frozenset(
    {FailureReason.WRONG_DEVICE, FailureReason.CONFIG, FailureReason.CLOSED}
)


class SupplySwitch:
    """A switch in the supply of one sensor.

    Args:
        name: Of the sensor, in the station file.
        pins: Returns the lines of which one works the switch.
        gpio: Which one.
        on_high: Whether a high level switches the supply on.
        clock: Whose time is waited by.
    """

    def __init__(
        self, name: str, pins: Callable[[], Pins], gpio: int, on_high: bool, clock: Clock
    ) -> None:
        self._name = name
        self._pins = pins
        self._gpio = gpio
        self._on_high = on_high
        self._clock = clock
        self._starts = 0
        self._cut_ns: int | None = None

    async def before_start(self) -> None:
        """Count one start, and cut the supply first where starts have not helped."""
        if self._starts >= STARTS_BEFORE_CUT and self._may_cut():
            self._starts = 0
            self._cut_ns = self._clock.now_ns()
            await self._cut()
        self._starts += 1

    def start_failed(self, reason: FailureReason) -> None:
        """Take note of why; what no power can mend leads to no cut."""
        if reason in POWER_DOES_NOT_HELP:
            self._starts = 0

    def has_read(self) -> None:
        """Take note that the sensor gave a good reading."""
        self._starts = 0

    def _may_cut(self) -> bool:
        return self._cut_ns is None or self._clock.now_ns() - self._cut_ns >= BETWEEN_CUTS_NS

    async def _cut(self) -> None:
        try:
            line = self._pins().output(self._gpio, safe_high=self._on_high)
        except DriverError:
            # The sensor may still come back without it.
            log.warning("%s: its supply cannot be cut", self._name, exc_info=True)
            return
        log.warning(
            "%s: %d starts gave no reading; cutting its supply for %g s",
            self._name,
            STARTS_BEFORE_CUT,
            CUT_S,
        )
        await self._off_and_on(line)

    async def _off_and_on(self, line: OutputLine) -> None:
        try:
            line.write(not self._on_high)
            await self._clock.sleep(CUT_S)
        except DriverError:
            log.warning("%s: its supply cannot be cut", self._name, exc_info=True)
        finally:
            line.close()  # on, also where the start is given up meanwhile
        await self._clock.sleep(SETTLE_S)
