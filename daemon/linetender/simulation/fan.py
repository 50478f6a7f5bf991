"""A fan with inertia: it takes seconds to come up, and coasts when its power goes."""

import math

_NS_PER_S = 1_000_000_000.0


class Fan:
    """Speed over time in closed form, with full speed as 1; stopped at the beginning.

    The rotor's load grows with the square of speed (a fan blowing through a line), and
    the motor's torque just carries the load at the speed s that its supply asks for:

        τ·dω/dt = s² - ω²

    With T = tanh(s·t/τ) that gives ω = s·(ω0 + s·T)/(s + ω0·T), and without power
    ω = ω0/(1 + ω0·t/τ).

    Args:
        tau_s: Time to coast to half speed (s, > 0).
    """

    def __init__(self, tau_s: float) -> None:
        if not 0.0 < tau_s < math.inf:
            raise ValueError(f"a fan's time constant of {tau_s} s is not above 0")
        self._tau_ns = tau_s * _NS_PER_S
        self._asked = 0.0
        self._since_ns = 0
        self._speed_then = 0.0

    def drive(self, now_ns: int, asked: float) -> None:
        """Ask for a speed from now on.

        Args:
            now_ns: From when on (ns).
            asked: Speed over full speed that the supply carries (0 to 1): 0 is no
                power, 0.7 a brown-out.

        Raises:
            ValueError: The speed is outside 0 to 1.
        """
        if not 0.0 <= asked <= 1.0:
            raise ValueError(f"a fan speed of {asked} of full speed is outside 0 to 1")
        if asked != self._asked:
            self._speed_then = self.speed(now_ns)
            self._since_ns = now_ns
            self._asked = asked

    def speed(self, now_ns: int) -> float:
        """Return the speed over full speed (0 to 1), from the last `drive` on."""
        passed = (now_ns - self._since_ns) / self._tau_ns
        asked, before = self._asked, self._speed_then
        if asked == 0.0:
            return before / (1.0 + before * passed)
        way = math.tanh(asked * passed)
        return asked * (before + asked * way) / (asked + before * way)
