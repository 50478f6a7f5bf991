"""Sentences for people. No codes, no numbers of rules: what is the matter, and what to do."""

from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged, Demand, Sound
from linetender.core.inputs import By
from linetender.core.instants import to_seconds
from linetender.core.plan import Plan, RulePlan
from linetender.core.snapshot import AlarmView
from linetender.core.stages import Priority

PRIORITY_WORDS: dict[Priority, str] = {
    Priority.LOW: "LOOK",
    Priority.MEDIUM: "LOOK",
    Priority.HIGH: "LEAVE",
}
"""The two meanings that reach a wearer."""

HELPER_CAUTION = (
    "Whoever helps: do not go in without clean air. Open up, shout, call the emergency number."
)
"""Ends every line about a HIGH alarm that leaves the room."""

HELPER_CAUTION_AFTERWARDS = (
    "If anybody is still in danger: do not go in without clean air. "
    "Open up, shout, call the emergency number."
)
"""The same once the alarm is over, so that nobody calls for help in vain."""

_ACTORS: dict[str, str] = {
    By.WEARER: " by the wearer",
    By.ATTENDANT: " by the attendant",
    By.REMOTE: " from afar",
}

_CALLS: dict[Sound, str] = {Sound.HIGH: "LEAVE"}

WEARER_IS_OUT = frozenset({"out", "end"})
"""Why an alarm fell silent that its wearer left behind."""

NO_LONGER_SUPPRESSED = "no longer suppressed"
"""Why an alarm sounds that nobody was told of while another one suppressed it."""

_STANDING: dict[AlarmState, str] = {
    AlarmState.RETURNED: " back to normal, not answered",
    AlarmState.LATCHED: " back to normal, not answered, sounds on",
    AlarmState.LATCHED_ACKNOWLEDGED: " answered and back to normal",
    AlarmState.SHELVED: " set aside for a time",
    AlarmState.SUPPRESSED: " also",
    AlarmState.OUT_OF_SERVICE: " out of service",
}


STILL_ACTIVE = frozenset({AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED, AlarmState.LATCHED})
"""States in which something is the matter, or still sounds."""


def alarm_line(event: AlarmChanged, plan: Plan, *, leaves_the_room: bool = True) -> str:
    """Return one plain line about an alarm's transition.

    Args:
        event: What happened.
        leaves_the_room: Whether it goes to a phone or a person far away, who must hear
            the caution for helpers with every HIGH alarm.
        plan: The station, whose rules hold the sentences. A rule it does not have is
            told by its name.
    """
    word = PRIORITY_WORDS[event.priority]
    say = sentence(plan, event.rule)
    if event.after is AlarmState.UNACKNOWLEDGED:
        line = f"{word}{_again(event)}: {say}"
    elif event.after is AlarmState.ACKNOWLEDGED:
        line = f"{word}, answered{_ACTORS.get(event.why, '')}, not over: {say}"
    elif event.after is AlarmState.NORMAL:
        line = f"Over: {matter(say)}"
    elif is_left_behind(event):
        line = f"The wearer is out: {matter(say)}"
    else:
        line = f"{word},{_STANDING[event.after]}: {matter(say)}"
    if event.priority is not Priority.HIGH or not leaves_the_room:
        return line
    is_over = event.after is AlarmState.NORMAL or is_left_behind(event)
    return f"{line} {HELPER_CAUTION_AFTERWARDS if is_over else HELPER_CAUTION}"


def still_line(view: AlarmView, now_ns: int, plan: Plan) -> str:
    """Return the line about an alarm that is active when the broker is back."""
    # As if it had just been said again: nobody heard it the first time.
    said_again = AlarmChanged(
        now_ns, view.n, view.rule, AlarmState.ACKNOWLEDGED, view.state, view.priority
    )
    return alarm_line(said_again, plan)


def back_line(station: str, away_ns: int, missed: int, active: int) -> str:
    """Return the one line that sums up what was not told while the broker was away.

    Args:
        station: Its id.
        away_ns: For how long.
        missed: How many lines were not told.
        active: How many alarms are active now.
    """
    away_s = round(to_seconds(away_ns))
    how_long = f"{away_s} s" if away_s < 120 else f"{round(away_s / 60)} min"
    now = {0: "nothing is active now", 1: "1 alarm is active now"}
    return (
        f"{station} is heard again after {how_long}: {_counted(missed, 'message')} not sent "
        f"meanwhile, {now.get(active, f'{active} alarms are active now')}."
    )


def _counted(number: int, thing: str) -> str:
    return f"1 {thing} was" if number == 1 else f"{number} {thing}s were"


def call_line(station: str, demand: Demand) -> str:
    """Return the line by which a contact is called about what sounds now."""
    word = _CALLS.get(demand.sound, "LOOK")
    line = f"{word} at {station}: {demand.say or 'an alarm is not answered.'}"
    return f"{line} {HELPER_CAUTION}" if demand.sound is Sound.HIGH else line


def release_line(station: str) -> str:
    """Return the line by which a contact who was called is told that it is over."""
    return f"Over at {station}: answered and over. {HELPER_CAUTION_AFTERWARDS}"


def attendant_line(station: str, name: str, *, calls_for_help: bool) -> str:
    """Return the line about an attendant who pressed the button of their box."""
    if calls_for_help:
        return f"HELP at {station}: {name} calls for help. {HELPER_CAUTION}"
    return f"{name} is coming to {station}."


def sentence(plan: Plan, rule: str) -> str:
    """Return what a rule of the station says, ended by a full stop."""
    found: RulePlan | None = next((one for one in plan.rules if one.id == rule), None)
    said = found.say.strip() if found is not None else ""
    said = " ".join(said.split()) or rule.replace("_", " ").capitalize()
    return said if said[-1] in ".!?" else f"{said}."


def matter(say: str) -> str:
    """Return what is the matter: the first sentence, without what to do about it."""
    first, stop, _ = say.partition(". ")
    return first + "." if stop else say


def is_left_behind(event: AlarmChanged) -> bool:
    """Return whether an alarm fell silent only because its wearer is out."""
    return event.after is AlarmState.SUPPRESSED and event.why in WEARER_IS_OUT


def _again(event: AlarmChanged) -> str:
    if event.before is AlarmState.NORMAL or event.why == NO_LONGER_SUPPRESSED:
        return ""
    if event.before is AlarmState.UNACKNOWLEDGED:
        return ", now more urgent"
    if event.before is AlarmState.ACKNOWLEDGED:
        return ", still"
    return ", again"
