"""The proof test of a station: its steps, its date in the pre-use check, the way out as walked."""

from collections.abc import Iterable

from msgspec import structs

from linetender.core.instants import from_seconds
from linetender.core.plan import Plan
from linetender.core.proof import ProofStep, RuleTime, proof_steps
from linetender.core.step_plan import StepKind, StepPlan
from linetender.settings.compile_pre_use import OTHER_LIMIT_S
from linetender.settings.proof_dates import ProofSeen, proof_dates, walked_s
from linetender.settings.rule_budget import RuleBudget
from linetender.settings.station import Device
from linetender.settings.station_file import StationFile

BEARS_SILENCE_S = {"wearer": 10.0, "attendant": 60.0}
"""By a second box's role: it hears nothing for so long, and says LEAVE (a test holds this
against `far_end/remote_watch.py`)."""


def proof_steps_of(
    plan: Plan, budgets: Iterable[RuleBudget], devices: Iterable[Device]
) -> tuple[ProofStep, ...]:
    """Return the steps of a station's proof test."""
    times = [
        RuleTime(
            budget.rule,
            budget.seconds.coast_down_s,
            budget.seconds.sensing_s + budget.seconds.on_delay_s,
        )
        for budget in budgets
    ]
    outputs = [device.output for device in devices if device.output]
    return proof_steps(plan, times, outputs, BEARS_SILENCE_S)


def with_walk(station: StationFile, seen: Iterable[ProofSeen]) -> StationFile:
    """Return the station with the way out as it was walked last, where that took longer.

    The file's own figure may come from another day, with less to carry: the longer counts.
    """
    walk_s, table = walked_s(seen), station.station
    if walk_s is None or (table.exit_time_s is not None and table.exit_time_s >= walk_s):
        return station
    table = table.model_copy(update={"exit_time_s": walk_s})
    return station.model_copy(update={"station": table})


def with_proof_step(
    plan: Plan,
    station: StationFile,
    devices: Iterable[Device],
    budgets: Iterable[RuleBudget],
    seen: Iterable[ProofSeen],
) -> Plan:
    """Return the plan, its pre-use check with the date of the proof test where there was one."""
    steps = proof_steps_of(plan, budgets, devices)
    due = proof_dates(steps, seen, station.proof.every_days).due
    if not due:
        return plan
    heard = [step for step in plan.steps if step.kind is StepKind.HEARD]
    others = [step for step in plan.steps if step.kind is not StepKind.HEARD]
    made = StepPlan(StepKind.PROOF.value, StepKind.PROOF, from_seconds(OTHER_LIMIT_S), due=due)
    return structs.replace(plan, steps=(*others, made, *heard))
