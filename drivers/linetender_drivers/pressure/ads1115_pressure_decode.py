"""From the voltages of a ratiometric pressure transducer to pressure. Pure.

Such a transducer gives a fixed part of its own supply at each end of its range, so the
supply is measured with it and cancels.
"""

from typing import NamedTuple

MARGIN_OF_SPAN = 0.02
"""So far beyond an end the output still counts: offset and noise at rest (chosen)."""


class Transducer(NamedTuple):
    """What the transducer's data sheet and the wiring say.

    Attributes:
        low_pa: Pressure at `low_of_supply`, Pa.
        high_pa: Pressure at `high_of_supply`, Pa.
        low_of_supply: Output over supply at the lower end, e.g. 0.1.
        high_of_supply: Output over supply at the upper end, e.g. 0.9.
        supply_min_v: Least supply with which it is exact, V.
        supply_max_v: Greatest such supply, V.
    """

    low_pa: float
    high_pa: float
    low_of_supply: float
    high_of_supply: float
    supply_min_v: float
    supply_max_v: float

    def pressure_pa(self, output_v: float, supply_v: float) -> float | None:
        """Return the pressure, Pa.

        None if the supply is not what the transducer needs, or its output is beyond its
        range: a wire that is off, a shorted output, too much pressure.

        Args:
            output_v: At the transducer's output, V.
            supply_v: At its supply, V.
        """
        if not self.supply_min_v <= supply_v <= self.supply_max_v:
            return None
        span = self.high_of_supply - self.low_of_supply
        part = (output_v / supply_v - self.low_of_supply) / span
        if not -MARGIN_OF_SPAN <= part <= 1.0 + MARGIN_OF_SPAN:
            return None
        return self.low_pa + part * (self.high_pa - self.low_pa)
