"""Debouncing of a switch on given instants."""

from hypothesis import given
from hypothesis import strategies as st

from linetender_drivers.inputs.debounce import (
    BROKEN_AFTER_NS,
    SETTLE_NS,
    Debounce,
    SwitchState,
    change_over_state,
)

MS = 1_000_000
OPEN, CLOSED, BROKEN = SwitchState.OPEN, SwitchState.CLOSED, SwitchState.BROKEN


def run(levels: list[tuple[int, SwitchState | None]], until_ms: int) -> list[tuple[float, str]]:
    """Feed levels (at ms) as a driver does: at each edge and whenever a look is asked for."""
    debounce, pending = Debounce(), list(levels)
    changes: list[tuple[float, str]] = []
    raw: SwitchState | None = None
    while True:
        due = debounce.next_look_ns()
        edge = pending[0][0] * MS if pending else None
        instants = [instant for instant in (due, edge) if instant is not None]
        if not instants or min(instants) > until_ms * MS:
            return changes
        now = min(instants)
        if now == edge:
            raw = pending.pop(0)[1]
        changed = debounce.look(now, raw)
        if changed is not None:
            changes.append((now / MS, changed))


def test_a_stable_level_counts_after_20_ms() -> None:
    assert run([(0, OPEN), (100, CLOSED), (300, OPEN)], 1000) == [
        (20, OPEN),
        (120, CLOSED),
        (320, OPEN),
    ]


def test_bounces_move_the_instant_and_make_no_extra_change() -> None:
    bouncing = [(100, CLOSED), (103, OPEN), (104, CLOSED), (111, OPEN), (112, CLOSED)]
    assert run([(0, OPEN), *bouncing], 1000) == [(20, OPEN), (132, CLOSED)]


def test_a_spike_shorter_than_20_ms_is_no_press() -> None:
    assert run([(0, OPEN), (100, CLOSED), (119, OPEN)], 1000) == [(20, OPEN)]


def test_a_switch_held_at_start_is_seen() -> None:
    assert run([(0, CLOSED)], 1000) == [(20, CLOSED)]


def test_a_change_over_contact_may_be_on_its_way_for_half_a_second() -> None:
    assert run([(0, OPEN), (100, None), (600, CLOSED)], 2000) == [(20, OPEN), (620, CLOSED)]


def test_longer_is_broken_and_a_valid_level_mends_it() -> None:
    assert run([(0, OPEN), (100, None), (900, CLOSED)], 2000) == [
        (20, OPEN),
        (600.000001, BROKEN),
        (920, CLOSED),
    ]


def test_a_broken_wire_at_start_is_broken_without_ever_being_pressed() -> None:
    assert run([(0, None)], 2000) == [(500.000001, BROKEN)]


def test_a_line_that_never_settles_is_broken() -> None:
    chatter = [(at, CLOSED if at % 20 else OPEN) for at in range(0, 2000, 10)]
    assert run(chatter, 1999) == [(520.000001, BROKEN)]


def test_both_or_neither_contact_closed_is_not_a_state() -> None:
    assert {
        (no, nc): change_over_state(no_closed=no, nc_closed=nc)
        for no in (False, True)
        for nc in (False, True)
    } == {
        (False, False): None,
        (True, True): None,
        (True, False): CLOSED,
        (False, True): OPEN,
    }


@given(
    st.lists(
        st.tuples(st.integers(0, 700 * MS), st.sampled_from([OPEN, CLOSED, None])), max_size=40
    )
)
def test_the_state_only_follows_levels_that_stood_long_enough(
    steps: list[tuple[int, SwitchState | None]],
) -> None:
    debounce, now, since, raw, invalid_since = Debounce(), 0, 0, None, 0
    debounce.look(0, raw)
    for gap, level in steps:
        now += gap
        if level is not raw:
            raw, since = level, now
        changed = debounce.look(now, raw)
        if changed is BROKEN:
            assert now - invalid_since > BROKEN_AFTER_NS
        elif changed is not None:
            assert changed is raw
            assert now - since >= SETTLE_NS
        if raw is not None and debounce.state is raw:
            invalid_since = now
