"""What LEAVE says of the air where the way out is longer than the air in the hood lasts.

The one place where a rule's sentence is not told as the rule file has it.
"""

from collections.abc import Iterable

from msgspec.structs import replace

from linetender.core.plan import Plan
from linetender.settings.rule_budget import RuleBudget

LEAVE = "Leave, then take the hood off."
"""How the sentence of a rule that tells to leave ends."""

LEAVE_OPENING = "Leave, and open the hood while going."
"""How it ends where the walk out does not fit into the alarm budget."""


def with_time_to_leave(plan: Plan, budgets: tuple[RuleBudget, ...]) -> Plan:
    """Return the plan with sentences that fit the station's exit time.

    All rules about the air say the same, also those that sound a little sooner: the
    wearer shall not have to tell them apart. A reading that is only silent
    is not known to be a loss of air, and its sentence stays.
    """
    if leaves_time(plan.exit_time_s, budgets):
        return plan
    about_air = {budget.rule for budget in budgets}
    rules = (
        replace(rule, say=opening(rule.say)) if rule.id in about_air else rule
        for rule in plan.rules
    )
    return replace(plan, rules=tuple(rules))


def leaves_time(exit_time_s: float | None, budgets: Iterable[RuleBudget]) -> bool:
    """Whether the wearer can walk out (s) with the hood closed, by every rule about the air."""
    return exit_time_s is None or all(
        budget.seconds.leaves_time_for(exit_time_s) for budget in budgets
    )


def opening(say: str) -> str:
    """Return a sentence that tells to open the hood while going."""
    if say.endswith(LEAVE):
        return say.removesuffix(LEAVE) + LEAVE_OPENING
    return f"{say} Open the hood while going."
