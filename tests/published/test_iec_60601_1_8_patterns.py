"""Sound and light patterns, edge by edge, against the windows of IEC 60601-1-8.

Source: IEC 60601-1-8:2006 with A1:2012 and A2:2020, Tables 2, 3 and 4 and clause
6.10. The standard itself was not at hand. Lamp rates, numbers of pulses, intervals
between bursts and the completion of short conditions are as public engineering
notes quote them, clause by clause; the 3+2 grouping as the alarm pages of the
University of Sydney's anaesthesia department give it; pulse lengths and spacings
are from memory, and component data sheets (80 to 150 ms for high, 130 to 200 ms
for medium and low priority) lie within them. A design reference: no conformity is
claimed.
"""

from itertools import pairwise

import pytest

from linetender.annunciation.lamp import LampColour, LampSchedule
from linetender.annunciation.patterns import LAMP_PATTERNS, SOUND_PATTERNS, Pattern
from linetender.annunciation.sounder import SounderSchedule
from linetender.core.events import Demand, Sound
from linetender.core.instants import MILLISECOND_NS, SECOND_NS
from linetender.core.stages import Priority

MINUTE_NS = 60 * SECOND_NS


def taken_edges(schedule, until_ns):
    """Take each edge at the instant it falls due, as a pin would see them."""
    edges = []
    while (edge := schedule.next_edge()) is not None and edge.due_ns <= until_ns:
        assert schedule.take(edge.due_ns) is edge.on
        edges.append((edge.due_ns, edge.on))
    return edges


def lengths_ms(edges):
    """Return the lengths of the pulses and of the silences after them (ms)."""
    times = [at_ns / MILLISECOND_NS for at_ns, _ in edges]
    assert [on for _, on in edges] == [index % 2 == 0 for index in range(len(edges))]
    widths = [later - earlier for earlier, later in pairwise(times)]
    return widths[::2], widths[1::2]


def sounded(sound, until_ns=5 * MINUTE_NS):
    schedule = SounderSchedule()
    schedule.demand(Demand(sound=sound, burst=1), 0)
    return lengths_ms(taken_edges(schedule, until_ns))


def test_high_is_ten_pulses_in_groups_of_three_and_two():
    pulses, gaps = sounded(Sound.HIGH)
    assert len(gaps) > 100
    assert all(75 <= pulse <= 200 for pulse in pulses)
    for index, gap in enumerate(gaps):
        place, length = index % 10, pulses[index]
        spacing = gaps[index - place]
        assert 50 <= spacing <= 125
        if place in (2, 7):
            assert gap == 2 * spacing + length
        elif place == 4:
            assert 350 <= gap <= 1300
        elif place == 9:
            assert 2500 <= gap <= 15_000
        else:
            assert gap == spacing


def test_medium_is_three_pulses():
    pulses, gaps = sounded(Sound.MEDIUM)
    assert len(gaps) > 50
    assert all(125 <= pulse <= 250 for pulse in pulses)
    for index, gap in enumerate(gaps):
        low, high = (2500, 30_000) if index % 3 == 2 else (125, 250)
        assert low <= gap <= high


def test_low_is_one_or_two_pulses_seldom():
    pulses, gaps = sounded(Sound.LOW)
    assert len(gaps) > 10
    assert all(125 <= pulse <= 250 for pulse in pulses)
    for index, gap in enumerate(gaps):
        if index % 2 == 1:
            assert gap > 15_000
        else:
            assert 125 <= gap <= 250


def test_ticks_cannot_be_taken_for_an_alarm():
    pulses, gaps = sounded(Sound.TICKS)
    assert all(pulse < 75 for pulse in pulses)
    assert all(gap > 250 for gap in gaps)


@pytest.mark.parametrize("sound", list(SOUND_PATTERNS))
def test_a_burst_on_paper_is_the_burst_that_is_played(sound):
    pattern = SOUND_PATTERNS[sound]
    schedule = SounderSchedule()
    schedule.demand(Demand(sound=sound, burst=1), 0)
    repeat_ns = pattern.repeat_ns()
    expected = [
        (start_ns + at_ns, on) for start_ns in (0, repeat_ns) for at_ns, on in pattern.edges()
    ]
    assert taken_edges(schedule, 2 * repeat_ns - 1) == expected


@pytest.mark.parametrize(
    ("priority", "colour", "hertz"),
    [
        (Priority.HIGH, LampColour.RED, (1.4, 2.8)),
        (Priority.MEDIUM, LampColour.YELLOW, (0.4, 0.8)),
    ],
)
def test_lamps_flash(priority, colour, hertz):
    schedule = LampSchedule(colour)
    schedule.demand(Demand(light=priority), 0)
    pulses, gaps = lengths_ms(taken_edges(schedule, MINUTE_NS))
    for on_ms, off_ms in zip(pulses, gaps, strict=False):
        assert hertz[0] <= 1000 / (on_ms + off_ms) <= hertz[1]
        assert 0.2 <= on_ms / (on_ms + off_ms) <= 0.6


def test_low_is_steady_yellow():
    schedule = LampSchedule(LampColour.YELLOW)
    schedule.demand(Demand(light=Priority.LOW), 0)
    assert taken_edges(schedule, MINUTE_NS) == [(0, True)]
    assert LAMP_PATTERNS[Priority.LOW].repeat_ns() is None


def pulses_of_a_short_condition(sound):
    """Demand a sound for one millisecond."""
    schedule = SounderSchedule()
    schedule.demand(Demand(sound=sound, burst=1), 0)
    edges = taken_edges(schedule, 0)
    schedule.demand(Demand(burst=1), MILLISECOND_NS)
    return edges + taken_edges(schedule, MINUTE_NS)


def first_pulses(pattern: Pattern, count: int):
    return [tuple(edge) for edge in pattern.edges()[: 2 * count]]


def test_a_short_high_completes_half_a_burst():
    assert pulses_of_a_short_condition(Sound.HIGH) == first_pulses(SOUND_PATTERNS[Sound.HIGH], 5)


def test_a_short_medium_completes_a_full_burst():
    assert pulses_of_a_short_condition(Sound.MEDIUM) == first_pulses(
        SOUND_PATTERNS[Sound.MEDIUM], 3
    )
