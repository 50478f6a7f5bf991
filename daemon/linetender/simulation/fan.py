"""A fan with inertia: it takes seconds to come up, and coasts when its power goes."""

import math

_NS_PER_S = 1_000_000_000.0
_ALMOST_FULL = 1.0 - 1e-9
"""Full speed is reached only in the limit; a start from here up is a start from full speed."""


class Fan:
    """Speed over time in closed form, with full speed as 1; stopped at the beginning.

    The rotor's load grows with the square of speed (a fan blowing through a line). So
    it coasts as 1/(1 + t/τ), and comes up as tanh(t/τ) under a motor torque that just
    carries the load at full speed.

    Args:
        tau_s: Time to coast to half speed (s, > 0).
    """

    def __init__(self, tau_s: float) -> None:
        if not 0.0 < tau_s < math.inf:
            raise ValueError(f"a fan's time constant of {tau_s} s is not above 0")
        self._tau_ns = tau_s * _NS_PER_S
        self._powered = False
        self._since_ns = 0
        self._speed_then = 0.0

    def start(self, now_ns: int) -> None:
        """Switch the power on; nothing happens when it is on."""
        self._switch(now_ns, powered=True)

    def stop(self, now_ns: int) -> None:
        """Cut the power; nothing happens when it is off."""
        self._switch(now_ns, powered=False)

    def speed(self, now_ns: int) -> float:
        """Return the speed over full speed (0 to 1), from the last switching on."""
        passed = (now_ns - self._since_ns) / self._tau_ns
        if self._powered:
            return math.tanh(math.atanh(min(self._speed_then, _ALMOST_FULL)) + passed)
        return self._speed_then / (1.0 + self._speed_then * passed)

    def _switch(self, now_ns: int, *, powered: bool) -> None:
        if powered != self._powered:
            self._speed_then = self.speed(now_ns)
            self._since_ns = now_ns
            self._powered = powered
