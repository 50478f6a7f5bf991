"""Which alarms a taught fault raises: the core itself is asked, with the readings as taught."""

from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged, Event
from linetender.core.inputs import By, Command, Input, Verb, reading
from linetender.core.instants import SECOND_NS
from linetender.core.plan import AirPlan, Plan
from linetender.core.watch import Watch
from linetender.settings.air_budget import judges_air

GOOD_S = 65
"""Long enough for a baseline by good air (s)."""
FAULT_S = 30
"""Long enough for every on-delay of the default rules about the air (s, chosen)."""
PER_SECOND = 10


def alarms_raised(plan: Plan, normal_pa: float, fault_pa: float) -> tuple[str, ...]:
    """Return the ids of the rules about the air that tell a fault, hood on, in order of time.

    Args:
        plan: The station; it senses the air.
        normal_pa: Reading while all is well (Pa).
        fault_pa: Reading in the fault (Pa).
    """
    if plan.air is None:
        return ()
    watch = Watch(plan, 0)
    _feed(watch, plan.air, normal_pa, 0, GOOD_S)
    start_ns = GOOD_S * SECOND_NS
    watch.feed(Command(start_ns, Verb.START, By.WEARER))
    _feed(watch, plan.air, normal_pa, GOOD_S, 5)
    said = _feed(watch, plan.air, fault_pa, GOOD_S + 5, FAULT_S)
    about_air = {rule.id for rule in plan.rules if judges_air(rule.condition, plan)}
    raised = [
        event.rule
        for event in said
        if isinstance(event, AlarmChanged)
        and event.rule in about_air
        and event.before is AlarmState.NORMAL
        and event.after is AlarmState.UNACKNOWLEDGED
    ]
    return tuple(dict.fromkeys(raised))


def _feed(watch: Watch, air: AirPlan, value: float, from_s: int, seconds: int) -> list[Event]:
    said: list[Event] = []
    step_ns = SECOND_NS // PER_SECOND
    for turn in range(seconds * PER_SECOND):
        item: Input = reading(from_s * SECOND_NS + turn * step_ns, air.signal, value)
        said += watch.feed(item)
    return said
