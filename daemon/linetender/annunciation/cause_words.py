"""What a likely cause is called, and the one thing to do about it."""

from typing import NamedTuple

from linetender.annunciation.words import HELPER_CAUTION
from linetender.core.alarm_table import AlarmState
from linetender.core.cause import Cause
from linetender.core.events import CauseNamed
from linetender.core.snapshot import AlarmView, CauseView
from linetender.core.stages import Priority

SURE_FROM = 0.7
"""From this confidence on a cause is "probably", under it "perhaps" (chosen)."""


class CauseWords(NamedTuple):
    """Words for one cause.

    Attributes:
        say: What probably happened.
        do: One thing to do; for a LEAVE once the wearer is out.
        short: The cause in two or three words, to be listed with others.
    """

    say: str
    do: str
    short: str


CAUSE_WORDS: dict[Cause, CauseWords] = {
    Cause.MAINS_LOST: CauseWords(
        "The fan's mains are gone.", "Look at its plug, fuse and switch.", "mains gone"
    ),
    Cause.FAN_STOPPED: CauseWords(
        "The fan has stopped.", "Look at the fan and its plug.", "fan stopped"
    ),
    Cause.FAN_SLOW: CauseWords(
        "The fan turns more slowly.", "Look at its supply and its speed setting.", "fan slow"
    ),
    Cause.LINE_BLOCKED: CauseWords(
        "The line is kinked or crushed.", "Free the duct from the hood back to the fan.", "kink"
    ),
    Cause.HOSE_KINKED: CauseWords(
        "The hose is kinked between sensor and hood.", "Straighten the hose.", "hose kinked"
    ),
    Cause.DUCT_OFF_DOWNSTREAM: CauseWords(
        "The duct is off behind the sensor: the air blows away.",
        "Follow the duct from the sensor and put it back on.",
        "duct off",
    ),
    Cause.DUCT_OFF_UPSTREAM: CauseWords(
        "The duct is off before the sensor.",
        "Follow the duct from the fan and put it back on.",
        "duct off",
    ),
    Cause.DUCT_OR_TAP_TUBE_OFF: CauseWords(
        "The duct is off, or the sensor's tube.",
        "Look at the duct first, then at the sensor's tube.",
        "duct or tube off",
    ),
    Cause.SHUT_OR_TAP_TUBE_OFF: CauseWords(
        "The line is shut, or the sensor's tube is off.",
        "Look at the duct first, then at the sensor's tubes.",
        "line shut or tube off",
    ),
    Cause.TAP_TUBE_OFF: CauseWords(
        "The sensor's tube is off; the filter still draws air.",
        "Put the tube back on.",
        "tube off",
    ),
    Cause.FILTER_LOADED: CauseWords(
        "The filter lets less air through.",
        "Look whether the filter is wet, frosted or full.",
        "filter",
    ),
    Cause.FILTER_OR_FAN_SLOW: CauseWords(
        "Air falls slowly: the filter, or the fan slows down.",
        "Look at the filter, then at the fan.",
        "filter or fan",
    ),
    Cause.HOSE_OFF_HOOD: CauseWords(
        "Air flows at the sensor and does not reach the hood.",
        "Look at the hose where it meets the hood.",
        "hose off the hood",
    ),
    Cause.SENSOR_FROZEN: CauseWords(
        "The air sensor repeats itself.",
        "Take its plug out and put it back in; do not rely on it.",
        "sensor frozen",
    ),
    Cause.SENSOR_SILENT: CauseWords(
        "The air sensor does not answer.", "Look at its plug and wires.", "sensor silent"
    ),
    Cause.OXIMETER_OFF_FINGER: CauseWords(
        "The oximeter is off the finger.", "Put the clip back on.", "clip off"
    ),
    Cause.OXIMETER_OUT_OF_RANGE: CauseWords(
        "The oximeter is not heard: out of range, or its battery is empty.",
        "Come nearer to the station, or change the battery.",
        "out of range",
    ),
    Cause.OXIMETER_WEAK_PULSE: CauseWords(
        "The oximeter finds no clear pulse: a cold or moving hand.",
        "Warm the finger and hold it still.",
        "weak pulse",
    ),
    Cause.WEARER_DETERIORATING: CauseWords(
        "Oxygen falls while air flows: the air itself may be bad, or you are unwell.",
        "Get out, breathe, and have somebody come.",
        "wearer unwell",
    ),
    Cause.NOT_CLEAR: CauseWords(
        "What happened is not clear: take it for a real alarm.",
        "Look at air and wearer.",
        "unclear",
    ),
}


def cause_sentence(named: CauseNamed | CauseView) -> str:
    """Return what probably happened, with how sure that is and what it may be besides."""
    words = CAUSE_WORDS[named.cause]
    if named.cause is Cause.NOT_CLEAR:
        return words.say
    doubt = "" if named.confidence >= SURE_FROM else "Perhaps: "
    also = ", ".join(CAUSE_WORDS[other].short for other in named.also)
    return f"{doubt}{words.say}" + (f" Or: {also}." if also else "")


def thing_to_do(named: CauseNamed | CauseView, priority: Priority) -> str:
    """Return the one thing to do: with a LEAVE that comes first, and the cause afterwards."""
    do = CAUSE_WORDS[named.cause].do
    if priority is not Priority.HIGH or named.cause is Cause.WEARER_DETERIORATING:
        return do
    return f"Leave. Once out: {do[0].lower()}{do[1:]}"


def cause_shown(view: AlarmView) -> str:
    """Return what a list of alarms says of the cause of one, and what to do; empty if nothing.

    Of one that another suppresses it is what it was before that one came, and no help now.
    """
    if view.cause is None or view.cause.cause is Cause.NOT_CLEAR:
        return ""
    if view.state is AlarmState.SUPPRESSED:
        return ""
    return f"Cause: {cause_sentence(view.cause)} {thing_to_do(view.cause, view.priority)}"


def cause_line(named: CauseNamed, priority: Priority, *, leaves_the_room: bool = True) -> str:
    """Return the plain line that follows an alarm's: the cause, and one thing to do.

    Args:
        named: The cause.
        priority: Of the alarm that it explains.
        leaves_the_room: Whether it goes to somebody far away, who must hear the caution
            for helpers with every line about a HIGH alarm.
    """
    line = f"Cause: {cause_sentence(named)} {thing_to_do(named, priority)}"
    if priority is not Priority.HIGH or not leaves_the_room:
        return line
    return f"{line} {HELPER_CAUTION}"
