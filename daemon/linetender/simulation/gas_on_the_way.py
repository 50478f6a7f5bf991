"""What the intake draws in, and when it arrives at the hood: plug flow through the duct."""

from collections import deque
from typing import NamedTuple


class IntakeAir(NamedTuple):
    """What a part of air holds.

    Attributes:
        co2_fraction: Carbon dioxide (0 to 1).
        o2_fraction: Oxygen (0 to 1).
        co_ppm: Carbon monoxide (ppm).
    """

    co2_fraction: float
    o2_fraction: float
    co_ppm: float


class GasOnTheWay:
    """A duct full of air that moves on without mixing.

    Args:
        volume_l: Air that the duct holds (L, > 0).
        filled_with: What is in it at the beginning.
    """

    def __init__(self, volume_l: float, filled_with: IntakeAir) -> None:
        self._volume_l = volume_l
        self._drawn_l = 0.0
        self._parts: deque[tuple[float, IntakeAir]] = deque()
        self._last = filled_with
        self.arriving = filled_with

    def move(self, litres: float, intake: IntakeAir) -> None:
        """Draw in so much air (L), and let as much arrive at the other end.

        A negative amount runs back, and comes again afterwards as it was.
        """
        if intake != self._last:
            self._parts.append((self._drawn_l, intake))
            self._last = intake
        self._drawn_l += litres
        while self._parts and self._parts[0][0] + self._volume_l <= self._drawn_l:
            self.arriving = self._parts.popleft()[1]
