"""What causes are called, and what to do about each."""

import pytest

from linetender.annunciation.cause_words import (
    CAUSE_WORDS,
    cause_line,
    cause_sentence,
    thing_to_do,
)
from linetender.annunciation.words import HELPER_CAUTION
from linetender.core.cause import Cause
from linetender.core.events import CauseNamed
from linetender.core.stages import Priority


def named(cause: Cause, confidence: float = 0.8, *also: Cause) -> CauseNamed:
    return CauseNamed(0, "air_lost", cause, confidence, also)


def test_every_cause_has_words() -> None:
    assert set(CAUSE_WORDS) == set(Cause)


@pytest.mark.parametrize("cause", Cause)
def test_words_are_short_sentences_and_one_thing_to_do(cause: Cause) -> None:
    words = CAUSE_WORDS[cause]
    for text in (words.say, words.do):
        assert text[0].isupper() and text.endswith(".") and len(text) <= 80
        assert text.count(".") == 1
    assert words.short == words.short.lower() and len(words.short.split()) <= 5


@pytest.mark.parametrize("cause", Cause)
def test_with_a_leave_leaving_comes_first(cause: Cause) -> None:
    do = thing_to_do(named(cause), Priority.HIGH)
    assert do.startswith(("Leave. Once out: ", "Get out, "))
    assert thing_to_do(named(cause), Priority.MEDIUM) == CAUSE_WORDS[cause].do


SENTENCES = [
    (named(Cause.FAN_STOPPED), "The fan has stopped."),
    (named(Cause.HOSE_OFF_HOOD, 0.6), f"Perhaps: {CAUSE_WORDS[Cause.HOSE_OFF_HOOD].say}"),
    (
        named(Cause.FAN_STOPPED, 0.8, Cause.LINE_BLOCKED, Cause.FILTER_LOADED),
        "The fan has stopped. Or: kink, filter.",
    ),
    (named(Cause.NOT_CLEAR, 0.0), "What happened is not clear: take it for a real alarm."),
]


@pytest.mark.parametrize(("cause", "sentence"), SENTENCES)
def test_how_sure_it_is_and_what_it_may_be_besides(cause: CauseNamed, sentence: str) -> None:
    assert cause_sentence(cause) == sentence


def test_a_line_about_a_leave_that_leaves_the_room_ends_in_the_caution() -> None:
    line = cause_line(named(Cause.FAN_STOPPED), Priority.HIGH)
    assert line == (
        "Cause: The fan has stopped. Leave. Once out: look at the fan and its plug. "
        + HELPER_CAUTION
    )
    here = cause_line(named(Cause.FAN_STOPPED), Priority.HIGH, leaves_the_room=False)
    assert line == f"{here} {HELPER_CAUTION}"
    assert cause_line(named(Cause.FAN_SLOW), Priority.MEDIUM) == (
        "Cause: The fan turns more slowly. Look at its supply and its speed setting."
    )
