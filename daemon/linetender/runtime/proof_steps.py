"""The steps of a station's proof test, out of its file, its rules and their alarm budgets."""

from linetender.core.proof import ProofStep, RuleTime, TimeToLeave, proof_steps
from linetender.settings.leave_sentence import leaves_time
from linetender.settings.rule_budget import slowest
from linetender.settings.station import Station

BEARS_SILENCE_S = {"wearer": 10.0, "attendant": 60.0}
"""By a second box's role: it hears nothing for so long, and says LEAVE (a test holds this
against `far_end/remote_watch.py`)."""


def steps_of(station: Station) -> tuple[ProofStep, ...]:
    """Return the steps of a station."""
    times = [
        RuleTime(
            budget.rule,
            budget.seconds.coast_down_s,
            budget.seconds.sensing_s + budget.seconds.on_delay_s,
        )
        for budget in station.budgets
    ]
    outputs = [device.output for device in station.devices if device.output]
    return proof_steps(station.plan, times, outputs, BEARS_SILENCE_S)


def time_to_leave(station: Station) -> TimeToLeave | None:
    """Return what the alarm budget of a station leaves for the way out, or None."""
    budget = slowest(station.budgets)
    if budget is None:
        return None
    opens_hood = not leaves_time(station.plan.exit_time_s, station.budgets)
    return TimeToLeave(budget.seconds.needed_s, budget.seconds.available_s, opens_hood)
