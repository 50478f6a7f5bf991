"""What the alarm budget of a station leaves for the way out."""

from linetender.core.proof import TimeToLeave
from linetender.settings.leave_sentence import leaves_time
from linetender.settings.rule_budget import slowest
from linetender.settings.station import Station


def time_to_leave(station: Station) -> TimeToLeave | None:
    """Return what the alarm budget of a station leaves for the way out, or None."""
    budget = slowest(station.budgets)
    if budget is None:
        return None
    opens_hood = not leaves_time(station.plan.exit_time_s, station.budgets)
    return TimeToLeave(budget.seconds.needed_s, budget.seconds.available_s, opens_hood)
