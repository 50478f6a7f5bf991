"""Whether an alarm can come in time: seconds that there are, and seconds that it takes.

There are as many as the air in a sealed hood lasts, from the steady state at the
least permitted airflow to 3 % CO2. It takes the coast-down of the fan to the rule's
limit, the sensing, the rule's on-delay, and the wearer's reaction.
"""

import enum
import math
from typing import NamedTuple

from linetender.airline import hood

LIMIT_CO2_FRACTION = 0.03
"""The stated limit: 3 % CO2, the short-term exposure limit of NIOSH and ACGIH (30 000 ppm)."""

DEFAULT_HOOD_VOLUME_L = 8.0
"""Free volume of a small loose hood (chosen)."""

DEFAULT_CO2_L_MIN = 0.73
"""CO2 output of a man of 30 to 40 years at 3 met, at 20 °C.

Source: Persily and de Jonge 2017, table 4 (0.0114 L/s at 0 °C).
"""

REACTION_S = 5.0
"""From the first sound to the hand at the hood (chosen)."""


class BudgetVerdict(enum.Enum):
    """What a budget means for the wearer.

    LEAVES_IN_TIME: reaction and way out end before the limit.
    OPEN_HOOD_WHILE_GOING: the reaction does, the way out with a closed hood does not.
    EXIT_NOT_MEASURED: the reaction does; nobody has walked the way out yet.
    TOO_LATE: the limit is reached before the wearer has reacted.
    """

    LEAVES_IN_TIME = "leaves_in_time"
    OPEN_HOOD_WHILE_GOING = "open_hood_while_going"
    EXIT_NOT_MEASURED = "exit_not_measured"
    TOO_LATE = "too_late"


class AlarmBudget(NamedTuple):
    """The time there is and the time it takes (s).

    Attributes:
        available_s: From the failure to the stated limit.
        coast_down_s: Until the flow has fallen to the rule's limit.
        sensing_s: Until a reading shows it.
        on_delay_s: The rule's on-delay.
        reaction_s: From the sound to the wearer's deed.
        exit_time_s: The way out, walked in full gear; None where nobody has walked it.
    """

    available_s: float
    coast_down_s: float
    sensing_s: float
    on_delay_s: float
    reaction_s: float = REACTION_S
    exit_time_s: float | None = None

    @property
    def needed_s(self) -> float:
        """Time from the failure until the wearer has reacted (s)."""
        return self.coast_down_s + self.sensing_s + self.on_delay_s + self.reaction_s

    @property
    def is_met(self) -> bool:
        """Whether the wearer has reacted before the limit is reached."""
        return self.needed_s <= self.available_s

    @property
    def spare_s(self) -> float:
        """Time left once the wearer has reacted (s); below 0 where there is none."""
        return self.available_s - self.needed_s

    @property
    def longest_on_delay_s(self) -> float:
        """On-delay with which the budget would just be met (s, >= 0)."""
        return max(0.0, self.on_delay_s + self.spare_s)

    @property
    def verdict(self) -> BudgetVerdict:
        """What it means for the wearer."""
        if not self.is_met:
            return BudgetVerdict.TOO_LATE
        if self.exit_time_s is None:
            return BudgetVerdict.EXIT_NOT_MEASURED
        if self.leaves_time_for(self.exit_time_s):
            return BudgetVerdict.LEAVES_IN_TIME
        return BudgetVerdict.OPEN_HOOD_WHILE_GOING

    def leaves_time_for(self, exit_time_s: float) -> bool:
        """Whether there is also time (s) to walk out with the hood still closed."""
        return self.needed_s + exit_time_s <= self.available_s


def budget_s(
    required_l_min: float,
    volume_l: float = DEFAULT_HOOD_VOLUME_L,
    co2_l_min: float = DEFAULT_CO2_L_MIN,
    limit_fraction: float = LIMIT_CO2_FRACTION,
) -> float:
    """Return how long the air in a sealed hood lasts once the flow is gone.

    Args:
        required_l_min: Least permitted airflow (L/min, > 0); its steady state is
            where the build-up begins.
        volume_l: Free volume of the hood (L, > 0).
        co2_l_min: CO2 output of the wearer (L/min, > 0).
        limit_fraction: CO2 that must not be reached (0 to 1).

    Returns:
        Time (s); 0 where the steady state is at the limit already.

    Raises:
        ValueError: An argument is not above 0.
    """
    if not 0.0 < co2_l_min < math.inf:
        raise ValueError(f"CO2 output {co2_l_min} L/min is not above 0")
    start = hood.steady_fraction(co2_l_min, required_l_min, hood.INTAKE_CO2_FRACTION)
    return hood.seconds_to(
        limit_fraction,
        initial_fraction=start,
        source_l_min=co2_l_min,
        airflow_l_min=0.0,
        volume_l=volume_l,
        intake_fraction=hood.INTAKE_CO2_FRACTION,
    )


def coast_down_s(flow_fraction: float, tau_s: float) -> float:
    """Return how long a fan without power takes to fall to a part of its flow.

    A rotor braked by its own air (torque as the square of speed) follows
    1/(1 + t/τ), and flow follows speed.

    Args:
        flow_fraction: Flow at the rule's limit over flow at the failure (1, over 0).
        tau_s: Time to half speed (s, >= 0).

    Returns:
        Time (s); 0 where the fraction is 1 or more.

    Raises:
        ValueError: An argument is outside its range, or not a number.
    """
    if not 0.0 < flow_fraction < math.inf:
        raise ValueError(f"flow fraction {flow_fraction} is not above 0: a fan never gets there")
    if not 0.0 <= tau_s < math.inf:
        raise ValueError(f"coast-down time {tau_s} s is negative or not finite")
    return max(0.0, tau_s * (1.0 / flow_fraction - 1.0))
