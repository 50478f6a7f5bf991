"""What is heard when demands change in the middle of a burst."""

from hypothesis import given
from hypothesis import strategies as st

from linetender.annunciation.lamp import LampColour, LampSchedule
from linetender.annunciation.patterns import SOUND_PATTERNS
from linetender.annunciation.sounder import SounderSchedule
from linetender.core.events import Demand, Sound
from linetender.core.instants import MILLISECOND_NS
from linetender.core.stages import Priority

SHORTEST_PULSE_MS = {Sound.TICKS: 40, Sound.LOW: 200, Sound.MEDIUM: 200, Sound.HIGH: 150}


def play(script, until_ms, burst=0, late_ms=0):
    """Play a script of (at_ms, demand) and return the edges taken as (at_ms, on)."""
    schedule = SounderSchedule(burst)
    return run(schedule, script, until_ms, late_ms)


def run(schedule, script, until_ms, late_ms=0):
    edges = []
    for at_ms, demand in [*script, (until_ms, None)]:
        at_ns = at_ms * MILLISECOND_NS
        while (edge := schedule.next_edge()) is not None:
            taken_ns = edge.due_ns + late_ms * MILLISECOND_NS
            if taken_ns > at_ns:
                break
            assert schedule.take(taken_ns) is edge.on
            edges.append((taken_ns // MILLISECOND_NS, edge.on))
        if demand is not None:
            schedule.demand(demand, at_ns)
    return edges


def pulses(*starts_ms, length_ms):
    return [
        (at, on) for start in starts_ms for at, on in ((start, True), (start + length_ms, False))
    ]


SILENT = Sound.SILENT
HIGH_HALF = (0, 250, 500, 1000, 1250)


def test_silent_until_something_is_demanded():
    schedule = SounderSchedule()
    assert schedule.next_edge() is None
    assert schedule.take(0) is False


def test_an_edge_is_not_taken_before_it_is_due():
    schedule = SounderSchedule()
    schedule.demand(Demand(sound=Sound.HIGH, burst=1), 5)
    assert schedule.take(4) is False
    assert schedule.take(5) is True
    assert schedule.take(6) is True


def test_silence_in_the_second_half_of_a_high_burst_completes_that_half():
    heard = play([(0, Demand(Sound.HIGH, 1)), (2200, Demand(SILENT, 1))], 60_000)
    assert heard == pulses(*HIGH_HALF, *(2100 + at for at in HIGH_HALF), length_ms=150)


def test_silence_between_the_halves_ends_at_once():
    heard = play([(0, Demand(Sound.HIGH, 1)), (1600, Demand(SILENT, 1))], 60_000)
    assert heard == pulses(*HIGH_HALF, length_ms=150)


def test_high_breaks_off_a_medium_pulse_at_once_and_sounds_after_a_short_gap():
    heard = play([(0, Demand(Sound.MEDIUM, 1)), (450, Demand(Sound.HIGH, 2))], 1000)
    assert heard == [
        (0, True), (200, False), (400, True), (450, False),
        (550, True), (700, False), (800, True), (950, False),
    ]  # fmt: skip


def test_high_after_a_medium_pulse_keeps_its_own_spacing():
    heard = play([(0, Demand(Sound.MEDIUM, 1)), (250, Demand(Sound.HIGH, 2))], 460)
    assert heard == [(0, True), (200, False), (300, True), (450, False)]


def test_medium_waits_for_the_high_phrase_and_a_rest():
    heard = play([(0, Demand(Sound.HIGH, 1)), (100, Demand(Sound.MEDIUM, 1))], 5000)
    end_of_half = 1250 + 150
    assert heard == [
        *pulses(*HIGH_HALF, length_ms=150),
        *pulses(*(end_of_half + 2500 + at for at in (0, 400)), length_ms=200),
        (end_of_half + 2500 + 800, True),
        (end_of_half + 2500 + 1000, False),
    ]


def test_a_burst_owed_is_sounded_though_it_had_not_begun():
    # MEDIUM rises and goes again while HIGH still finishes.
    heard = play(
        [
            (0, Demand(Sound.HIGH, 1)),
            (100, Demand(Sound.MEDIUM, 2)),
            (200, Demand(SILENT, 2)),
        ],
        60_000,
    )
    assert heard == [
        *pulses(*HIGH_HALF, length_ms=150),
        *pulses(3900, 4300, 4700, length_ms=200),
    ]


def test_a_condition_between_two_demands_is_heard_as_a_medium_burst():
    heard = play([(0, Demand(SILENT, 1))], 60_000)
    assert heard == pulses(0, 400, 800, length_ms=200)


def test_a_core_that_goes_on_counting_owes_nothing_old():
    assert play([(0, Demand(SILENT, 7))], 60_000, burst=7) == []


def test_a_second_alarm_in_the_middle_of_a_burst_gets_a_burst_of_its_own():
    heard = play(
        [(0, Demand(Sound.MEDIUM, 1)), (900, Demand(Sound.MEDIUM, 2)), (950, Demand(SILENT, 2))],
        60_000,
    )
    assert heard == pulses(0, 400, 800, 8000, 8400, 8800, length_ms=200)


def test_a_new_high_alarm_soon_after_the_last_follows_like_a_second_half():
    heard = play(
        [(0, Demand(Sound.HIGH, 1)), (1, Demand(SILENT, 1)), (1450, Demand(Sound.HIGH, 2))], 2260
    )
    assert heard == [*pulses(*HIGH_HALF, 2100, length_ms=150)]


def test_a_late_caller_stretches_a_pulse_and_swallows_none():
    heard = play([(0, Demand(Sound.MEDIUM, 1)), (1, Demand(SILENT, 1))], 60_000, late_ms=0)
    late = play([(0, Demand(Sound.MEDIUM, 1)), (400, Demand(SILENT, 1))], 60_000, late_ms=300)
    assert [on for _, on in late] == [on for _, on in heard]
    assert late == [
        (300, True), (800, False), (1300, True), (1800, False), (2300, True), (2800, False),
    ]  # fmt: skip


DEMANDS = st.lists(
    st.tuples(st.integers(0, 3000), st.sampled_from(list(Sound)), st.booleans()), max_size=12
)


@given(DEMANDS)
def test_whatever_is_demanded_pulses_are_whole_unless_a_higher_priority_breaks_in(steps):
    at_ms, burst, script = 0, 0, []
    for wait_ms, sound, rises in steps:
        at_ms += wait_ms
        burst += rises
        script.append((at_ms, Demand(sound, burst)))
    script.append((at_ms + 1, Demand(SILENT, burst)))
    heard = play(script, at_ms + 200_000)
    assert [on for _, on in heard] == [index % 2 == 0 for index in range(len(heard))]
    assert len(heard) % 2 == 0, "silence was demanded, so it ends"
    # A burst that is owed to a sound already silent again takes over like any other.
    taken_over_ms = {
        at
        for (at, demand), (_, _, rises) in zip(script, [*steps, (0, SILENT, False)], strict=True)
        if demand.sound is not SILENT or rises
    }
    whole = set(SHORTEST_PULSE_MS.values())
    for (on_ms, _), (off_ms, _) in zip(heard[::2], heard[1::2], strict=True):
        assert off_ms - on_ms in whole or off_ms in taken_over_ms


@given(DEMANDS)
def test_each_rise_is_followed_by_a_whole_phrase(steps):
    at_ms, burst, script = 0, 0, []
    for wait_ms, sound, rises in steps:
        at_ms += wait_ms
        burst += rises
        script.append((at_ms, Demand(sound, burst)))
    heard = play([*script, (at_ms + 1, Demand(SILENT, burst))], at_ms + 200_000)
    if not any(rises for _, _, rises in steps):
        return
    last_rise_ms = max(at for (at, _), (_, _, rises) in zip(script, steps, strict=True) if rises)
    begun = [at for at, on in heard if on and at >= last_rise_ms]
    assert begun, "what is owed is heard"


def test_every_sound_but_silence_has_a_pattern():
    assert set(SOUND_PATTERNS) == set(Sound) - {SILENT}


def test_red_lamp_follows_high_alone_and_finishes_its_flash():
    script = [
        (0, Demand(light=Priority.HIGH)),
        (600, Demand(light=Priority.MEDIUM)),
    ]
    assert run(LampSchedule(LampColour.RED), script, 10_000) == [
        (0, True), (250, False), (500, True), (750, False),
    ]  # fmt: skip
    assert run(LampSchedule(LampColour.YELLOW), script, 2500) == [
        (600, True), (1400, False), (2200, True),
    ]  # fmt: skip


def test_yellow_lamp_goes_from_steady_to_flashing_and_dark():
    script = [
        (0, Demand(light=Priority.LOW)),
        (1000, Demand(light=Priority.MEDIUM)),
        (4000, Demand(light=Priority.LOW)),
        (9000, Demand()),
    ]
    assert run(LampSchedule(LampColour.YELLOW), script, 60_000) == [
        (0, True), (1000, False), (1000, True), (1800, False), (2600, True), (3400, False),
        (4000, True), (9000, False),
    ]  # fmt: skip
