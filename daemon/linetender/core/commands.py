"""What people may ask of the core, and why it would refuse."""

from linetender.core.alarm import Alarm
from linetender.core.alarm_table import AlarmState
from linetender.core.conditions.held import HeldCondition
from linetender.core.inputs import By, Command, Verb
from linetender.core.instants import to_seconds
from linetender.core.stages import Priority, Stage
from linetender.core.telling import LONGEST_PAUSE_NS
from linetender.core.use import Use

_WEARERS_ALONE = frozenset({Verb.END, Verb.OUT, Verb.START, Verb.SERVICE, Verb.PRE_USE})


def refusal(use: Use, command: Command) -> str | None:
    """Say in words why a command would change nothing now, or None if it would."""
    verb, by = command.verb, command.by
    if use.stage is Stage.WORN and verb in _WEARERS_ALONE and by is not By.WEARER:
        return f"while the hood is worn only the wearer can ask for {verb.value}"
    match verb:
        case Verb.ACKNOWLEDGE:
            return _refuse_acknowledge(use, command)
        case Verb.PAUSE_SOUND:
            return _refuse_pause(use, command)
        case Verb.RESET:
            return None if _resettable(use, command) else "nothing has been answered and is over"
        case Verb.PRE_USE if command.step or command.reason:
            return _refuse_override(use, command)
        case Verb.PRE_USE if use.stage is not Stage.IDLE:
            return f"the check starts from idle; the stage is {use.stage.value}"
        case Verb.START if use.stage in (Stage.WORN, Stage.SERVICE):
            return f"the stage is {use.stage.value} already"
        case Verb.SERVICE if use.stage is Stage.WORN:
            return "the hood is worn; end the use first"
        case Verb.HELP if not _helds(use):
            return "this station has no rule for a call for help"
    return None


def carry_out(use: Use, command: Command) -> None:
    """Do what a command asks, unless it is refused."""
    if refusal(use, command) is not None:
        return
    now_ns, why = command.arrived_ns, command.by.value
    match command.verb:
        case Verb.ACKNOWLEDGE:
            use.acknowledge(now_ns, command.by, command.shown)
        case Verb.PAUSE_SOUND:
            use.telling.pause(now_ns, command.duration_ns)
        case Verb.RESET:
            _reset(use, command)
        case Verb.PRE_USE if command.step:
            use.override(now_ns, why, command.step, command.reason)
        case Verb.PRE_USE:
            use.begin_pre_use(now_ns, why)
        case Verb.START:
            use.wear(now_ns, why)
        case Verb.END:
            use.finish(now_ns, why)
        case Verb.OUT:
            use.leave(now_ns, why, is_out=True)
        case Verb.SERVICE:
            use.service(now_ns)
        case Verb.HELP:
            for held, alarm in _helds(use):
                held.call()
                alarm.judge(now_ns)


def _refuse_override(use: Use, command: Command) -> str | None:
    step = command.step
    if use.stage not in (Stage.IDLE, Stage.PRE_USE):
        return f"a step is overridden before or during the check; the stage is {use.stage.value}"
    if not command.reason.strip():
        return "an override needs a reason; every report shows it"
    known = [plan.id for plan in use.check.plans]
    if step not in known:
        return f"there is no step {step!r}; this station has {', '.join(known)}"
    if use.stage is Stage.PRE_USE and not use.check.can_override(step):
        return f"the step {step} is met already"
    return None


def _refuse_acknowledge(use: Use, command: Command) -> str | None:
    if use.answerable(command.by, command.shown):
        return None
    sounding = [alarm for alarm in use.alarms if alarm.sounds]
    if not sounding:
        return "nothing waits for an answer"
    if command.by is not By.WEARER and all(alarm.plan.killer for alarm in sounding):
        return "only the wearer can answer this alarm"
    return "what sounds now is newer than what you had seen; look again"


def _refuse_pause(use: Use, command: Command) -> str | None:
    if not 0 < command.duration_ns <= LONGEST_PAUSE_NS:
        return f"a pause lasts up to {to_seconds(LONGEST_PAUSE_NS):.0f} s"
    if not any(alarm.sounds and alarm.priority is not Priority.HIGH for alarm in use.alarms):
        return "no LOOK alarm sounds; a LEAVE alarm cannot be paused"
    return None


def _resettable(use: Use, command: Command) -> bool:
    return any(
        alarm.state in (AlarmState.LATCHED_ACKNOWLEDGED, AlarmState.RETURNED)
        for alarm in use.alarms
        if command.rule in ("", alarm.plan.id)
    ) or _may_settle(use)


def _may_settle(use: Use) -> bool:
    return use.stage is not Stage.WORN and any(alarm.present for _, alarm in _helds(use))


def _reset(use: Use, command: Command) -> None:
    now_ns = command.arrived_ns
    for alarm in use.alarms:
        if command.rule in ("", alarm.plan.id):
            alarm.reset(now_ns, command.by.value)
    if _may_settle(use):
        for held, alarm in _helds(use):
            held.settle()
            alarm.conclude(now_ns)


def _helds(use: Use) -> list[tuple[HeldCondition, Alarm]]:
    return [(leaf, alarm) for leaf, alarm in use.wiring.leaves if isinstance(leaf, HeldCondition)]
