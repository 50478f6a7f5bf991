"""The alarm budget of one rule, with its words."""

from typing import NamedTuple

from linetender.airline.alarm_budget import AlarmBudget, coast_down_s


class RuleBudget(NamedTuple):
    """The alarm budget of one rule.

    Attributes:
        rule: Its id.
        flow_fraction: Part of the normal airflow (0 to 1) at which the rule's limit
            lies; 1 where it sees the failure itself.
        seconds: Time by part.
    """

    rule: str
    flow_fraction: float
    seconds: AlarmBudget

    @property
    def sounds_after_s(self) -> float:
        """From the failure to the sound (s)."""
        parts = self.seconds
        return parts.coast_down_s + parts.sensing_s + parts.on_delay_s

    @property
    def longest_on_delay_s(self) -> float:
        """The on-delay (s) that would just fit; below 0 where none does."""
        return self.seconds.available_s - self.seconds.needed_s + self.seconds.on_delay_s

    def with_level(
        self, flow_fraction: float, on_delay_s: float, half_speed_s: float
    ) -> "RuleBudget":
        """Return the budget that the rule would have with another limit and delay.

        Args:
            flow_fraction: Part of the normal airflow (over 0) at which the limit lies.
            on_delay_s: The rule's on-delay (s).
            half_speed_s: In which the fan without power falls to half its speed (s).
        """
        parts = self.seconds._replace(
            coast_down_s=coast_down_s(flow_fraction, half_speed_s), on_delay_s=on_delay_s
        )
        return RuleBudget(self.rule, flow_fraction, parts)

    @property
    def words(self) -> str:
        """The parts until the sound, for people."""
        parts = self.seconds
        coast = f"the fan coasts {parts.coast_down_s:.1f} s to {self.flow_fraction:.0%} of its flow"
        return (
            f"{coast if parts.coast_down_s else 'no coasting'}, "
            f"sensing takes {parts.sensing_s:.1f} s, the rule waits {parts.on_delay_s:.1f} s"
        ).replace("%", " %")


def slowest(budgets: tuple[RuleBudget, ...]) -> RuleBudget | None:
    """Return the budget with the least time to spare, or None where there is none."""
    return max(budgets, key=lambda each: each.seconds.needed_s, default=None)
