"""What must hold of the state × event table, and of every walk through it."""

import itertools
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

import linetender.core
from core.alarm_table_diagram import BEGIN, END, LETTERS, block
from linetender.core import alarm_table
from linetender.core.alarm_table import (
    ACTIVE,
    AFTER,
    SHOWN,
    SOUNDING,
    AlarmEvent,
    AlarmState,
)

_README = Path(linetender.core.__file__).parent / "README.md"
_BY_LETTER = {letter: state for state, letter in LETTERS.items()}
E = AlarmEvent

DELIBERATE = {E.RESET, E.OUT_PRESENT, E.OUT_ABSENT, E.SHELVE, E.REMOVE}
"""Events that only a person's act causes, beside an answer."""

BY_CONDITION = {
    E.RAISE,
    E.WITHHOLD,
    E.CLEAR,
    E.CLEAR_LATCHING,
    E.REALARM,
    E.RISE,
}
"""Events that happen without anybody."""

# The arrows of ISA-18.2 as section 2 of the public description has them (letters and the
# latched, shelved and suppressed states from memory; A to D as openly documented).
PUBLISHED = [
    ("A", E.RAISE, "B"),
    ("B", E.ACKNOWLEDGE, "C"),
    ("B", E.CLEAR, "D"),
    ("B", E.CLEAR_LATCHING, "E"),
    ("C", E.CLEAR, "A"),
    ("C", E.CLEAR_LATCHING, "F"),
    ("C", E.REALARM, "B"),
    ("D", E.ACKNOWLEDGE, "A"),
    ("D", E.RAISE, "B"),
    ("E", E.ACKNOWLEDGE, "F"),
    ("E", E.RAISE, "B"),
    ("F", E.RESET, "A"),
    ("F", E.RAISE, "B"),
    ("G", E.RELEASE_PRESENT, "B"),
    ("G", E.RELEASE_ABSENT, "A"),
    ("H", E.RELEASE_PRESENT, "B"),
    ("H", E.RELEASE_ABSENT, "A"),
    ("I", E.RELEASE_PRESENT, "B"),
    ("I", E.RELEASE_ABSENT, "A"),
]


def test_the_table_is_total() -> None:
    assert set(AFTER) == set(AlarmState)
    for state, row in AFTER.items():
        assert list(row) == list(AlarmEvent), state


def test_the_letters_are_those_of_the_standard() -> None:
    source = Path(alarm_table.__file__).read_text(encoding="utf-8")
    for state, letter in LETTERS.items():
        assert f'{state.name} = "{state.value}"  # {letter}\n' in source


def test_the_published_arrows_are_there() -> None:
    for before, event, after in PUBLISHED:
        assert LETTERS[AFTER[_BY_LETTER[before]][event]] == after, (before, event)


def test_only_unacknowledged_states_sound() -> None:
    assert {LETTERS[state] for state in SOUNDING} == {"B", "E"}
    assert {LETTERS[state] for state in ACTIVE} == {"B", "C"}
    assert {LETTERS[state] for state in SHOWN} == set("BCDEFGHI")


def test_sound_ends_only_by_an_answer_a_deliberate_act_or_the_condition_of_a_plain_rule() -> None:
    for state, event in itertools.product(SOUNDING, AlarmEvent):
        after = AFTER[state][event]
        if after not in SOUNDING:
            plain_return = (LETTERS[state], event) == ("B", E.CLEAR)
            assert event is E.ACKNOWLEDGE or event in DELIBERATE or plain_return, (state, event)


def test_a_latched_alarm_ends_only_by_an_act() -> None:
    for state in (AlarmState.LATCHED, AlarmState.LATCHED_ACKNOWLEDGED):
        for event in BY_CONDITION | {E.RELEASE_ABSENT, E.ACKNOWLEDGE}:
            # H only by a raise that is withheld: the condition is present again.
            allowed = "BEFH" if event is E.WITHHOLD else "BEF"
            assert LETTERS[AFTER[state][event]] in allowed, (state, event)


def test_a_reset_ends_only_what_is_over_and_not_waiting_to_be_heard() -> None:
    changed = {s for s in AlarmState if AFTER[s][E.RESET] is not s}
    assert {LETTERS[state] for state in changed} == {"D", "F"}
    assert {AFTER[state][E.RESET] for state in changed} == {AlarmState.NORMAL}


def test_suppression_stops_only_a_new_raise() -> None:
    """A latched alarm that still sounds goes on; none waits in F, where no release finds it."""
    changed = {s: AFTER[s][E.WITHHOLD] for s in AlarmState if AFTER[s][E.WITHHOLD] is not s}
    assert {LETTERS[s]: LETTERS[after] for s, after in changed.items()} == {
        "A": "H",
        "D": "H",
        "E": "B",
        "F": "H",
    }


def test_what_is_taken_out_of_the_list_comes_back() -> None:
    for letter in "GHI":
        row = AFTER[_BY_LETTER[letter]]
        assert (LETTERS[row[E.RELEASE_PRESENT]], LETTERS[row[E.RELEASE_ABSENT]]) == ("B", "A")
        assert letter in {LETTERS[state] for state in SHOWN}


def test_out_silences_whatever_is_active_and_forgets_whatever_is_over() -> None:
    for letter in "BCDEF":
        row = AFTER[_BY_LETTER[letter]]
        assert LETTERS[row[E.OUT_PRESENT]] == "H"
        assert LETTERS[row[E.OUT_ABSENT]] == "A"


@given(st.lists(st.sampled_from(sorted(AlarmEvent)), max_size=40))
def test_every_walk_keeps_the_promises(events: list[AlarmEvent]) -> None:
    state = AlarmState.NORMAL
    for event in events:
        before, state = state, AFTER[state][event]
        heard_again = state is AlarmState.UNACKNOWLEDGED and before is not state
        if heard_again:
            assert event in {
                E.RAISE,
                E.WITHHOLD,
                E.REALARM,
                E.RISE,
                E.RELEASE_PRESENT,
            }
        if event is E.ACKNOWLEDGE:
            assert state not in SOUNDING
        if event is E.REALARM and before is AlarmState.ACKNOWLEDGED:
            assert state in SOUNDING


def test_the_manual_shows_this_table(update_golden: bool) -> None:
    text = _README.read_text(encoding="utf-8")
    before, rest = text.split(BEGIN)
    shown, after = rest.split(END)
    if update_golden:
        _README.write_text(f"{before}{block()}{after}", encoding="utf-8")
        return
    assert f"{BEGIN}{shown}{END}" == block(), "run with --update-golden after a change"
