"""Events as lines for people: when, and what happened."""

from linetender.annunciation.cause_words import cause_line
from linetender.annunciation.news import News
from linetender.annunciation.words import alarm_line
from linetender.core.events import (
    AlarmChanged,
    BaselineSet,
    CauseNamed,
    Event,
    FalseLeave,
    StageChanged,
    StepChanged,
    StepState,
)
from linetender.core.instants import to_seconds
from linetender.core.plan import Plan
from linetender.core.pre_use import WHOLE
from linetender.core.stages import Priority

_STAGE_WORDS = {
    "idle": "idle, nobody wears the hood",
    "pre_use": "pre-use check",
    "worn": "hood worn, watching",
    "service": "service, nothing is watched",
}

_CHECK_WORDS = {
    StepState.MET: "Pre-use check passed: ready to be worn{}.",
    StepState.FAILED: "Pre-use check REFUSED{}: not checked, watched all the same.",
}

_NAMES = {"spo2": "oxygen (SpO2)", "pulse_rate": "pulse"}
_UNITS = {"percent": "%", "bpm": "/min", "pa": "Pa"}


class Spoken:
    """Tells what happens in lines; given each event once, in their order.

    Args:
        plan: The station.
        decimals: Of the time (s) that each line begins with.
    """

    def __init__(self, plan: Plan, decimals: int = 3) -> None:
        self._plan = plan
        self._decimals = decimals
        self._news = News()

    def line(self, event: Event) -> str | None:
        """Return one line about an event with its time, or None for what needs no words."""
        if isinstance(event, AlarmChanged) and not self._news.is_news(event):
            return None
        words = _words(event, self._plan)
        return words and f"{to_seconds(event.due_ns):9.{self._decimals}f} s  {words}"


def _words(event: Event, plan: Plan) -> str | None:
    match event:
        case AlarmChanged():
            return alarm_line(event, plan, leaves_the_room=False)
        case StageChanged():
            return f"Now {_STAGE_WORDS[event.after]} ({event.why})."
        case StepChanged(state=StepState.WAITING, why=""):
            return None
        case StepChanged():
            step = event.step.replace("_", " ")
            why = f" ({event.why})" if event.why else ""
            if event.step == WHOLE:
                return _CHECK_WORDS[event.state].format(why)
            return f"Pre-use check, {step}: {event.state}{why}."
        case FalseLeave():
            return "The wearer says that the last LEAVE was false."
        case BaselineSet(value=None):
            return None
        case BaselineSet():
            return f"Normal for this session: {_quantity(event)}."
        case CauseNamed():
            return cause_line(event, _priority(event, plan), leaves_the_room=False)
    return None


def _priority(event: CauseNamed, plan: Plan) -> Priority:
    found = (rule.priority for rule in plan.rules if rule.id == event.rule)
    return next(found, Priority.HIGH)


def _quantity(event: BaselineSet) -> str:
    name, _, unit = event.signal.rpartition("_")
    if event.signal == "airflow_l_min":
        name, unit = "airflow", "L/min"
    return f"{_NAMES.get(name, name.replace('_', ' '))} {event.value:g} {_UNITS.get(unit, unit)}"
