"""The wearer's breath as the hood-end tap feels it."""

import math


class Breathing:
    """A sine of pressure: up when the wearer breathes out, down when they breathe in.

    Args:
        rate_per_min: Breaths per minute (> 0); the default is light work (chosen).
        amplitude_pa: Half the swing (Pa, >= 0); the default is a loose hood, which
            vents most of it (chosen).
    """

    def __init__(self, rate_per_min: float = 18.0, amplitude_pa: float = 0.8) -> None:
        self._period_ns = round(60e9 / rate_per_min)
        self._amplitude_pa = amplitude_pa

    def pressure_pa(self, now_ns: int) -> float:
        """Return what breathing adds to the hood-end pressure (Pa) at an instant (ns, >= 0)."""
        turn = (now_ns % self._period_ns) / self._period_ns
        return self._amplitude_pa * math.sin(2.0 * math.pi * turn)
