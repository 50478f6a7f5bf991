"""The self-test plays what an alarm would play, and steps aside for one at once."""

import pytest

from linetender.annunciation.lamp import LampColour
from linetender.annunciation.patterns import FAILURE_PATTERN, SOUND_PATTERNS, Edge
from linetender.annunciation.self_test import (
    PAUSE_NS,
    SPACING_NS,
    TEST_NS,
    SelfTestingSchedule,
    lamp_test,
    sounder_test,
)
from linetender.annunciation.sounder import SounderSchedule
from linetender.core.events import Demand, Sound
from linetender.core.instants import MILLISECOND_NS as MS

SILENT = Demand()
HIGH = Demand(Sound.HIGH, burst=1)
LOW = Demand(Sound.LOW, burst=1)


def fresh() -> SelfTestingSchedule:
    return SelfTestingSchedule(SounderSchedule(), sounder_test())


def played(schedule: SelfTestingSchedule, until_ns: int) -> list[Edge]:
    """Take every edge at its instant."""
    edges = []
    while (edge := schedule.next_edge()) is not None and edge.due_ns <= until_ns:
        assert schedule.take(edge.due_ns) is edge.on
        edges.append(edge)
    return edges


def pulses_ms(edges: list[Edge]) -> list[tuple[int, int]]:
    """Return start and length of each pulse (ms)."""
    ons, offs = edges[::2], edges[1::2]
    assert all(edge.on for edge in ons) and not any(edge.on for edge in offs)
    return [
        (on.due_ns // MS, (off.due_ns - on.due_ns) // MS) for on, off in zip(ons, offs, strict=True)
    ]


def test_each_pattern_once_and_the_failure_sound() -> None:
    schedule = fresh()
    assert schedule.begin_test(0)
    lengths = [length for _, length in pulses_ms(played(schedule, TEST_NS))]
    assert lengths == [200] * 2 + [200] * 3 + [150] * 10 + [900] * 3
    assert schedule.next_edge() is None
    assert not schedule.is_testing


def test_the_pause_tells_one_pattern_from_the_next() -> None:
    within = [
        gap
        for pattern in SOUND_PATTERNS.values()
        for gap in pattern.gaps_ns[:-1]
        if pattern is not SOUND_PATTERNS[Sound.TICKS]
    ]
    assert max(within) < PAUSE_NS


def test_the_failure_sound_is_none_of_an_alarm() -> None:
    longest = max(max(pattern.lengths_ns) for pattern in SOUND_PATTERNS.values())
    assert min(FAILURE_PATTERN.lengths_ns) > 4 * longest
    assert FAILURE_PATTERN.rank > max(pattern.rank for pattern in SOUND_PATTERNS.values())


# In a pulse, on its edges, and between two pulses and two patterns.
@pytest.mark.parametrize("at_ms", [0, 50, 200, 300, 2_200, 6_000, TEST_NS // MS - 1])
@pytest.mark.parametrize("demand", [LOW, HIGH])
def test_an_alarm_breaks_it_off_and_sounds_as_ever(demand: Demand, at_ms: int) -> None:
    schedule, alone = fresh(), SounderSchedule()
    schedule.begin_test(0)
    before = played(schedule, at_ms * MS)
    schedule.demand(demand, at_ms * MS)
    assert not schedule.begin_test(at_ms * MS)
    edges = before + played(schedule, (at_ms + 5_000) * MS)
    alarm = [pulse for pulse in pulses_ms(edges[: len(edges) // 2 * 2]) if pulse[0] >= at_ms]
    if before and before[-1] == Edge(at_ms * MS, True):
        alarm = alarm[1:]  # a pulse of the test that had begun at this very instant
    first_ms = alarm[0][0]
    assert at_ms <= first_ms <= at_ms + SPACING_NS // MS
    alone.demand(demand, first_ms * MS)
    expected = []
    while (edge := alone.next_edge()) is not None and edge.due_ns <= (at_ms + 5_000) * MS:
        alone.take(edge.due_ns)
        expected.append(edge)
    assert alarm == pulses_ms(expected[: len(expected) // 2 * 2])


def test_what_sounds_is_not_tested() -> None:
    schedule = fresh()
    schedule.demand(HIGH, 0)
    played(schedule, 0)
    assert not schedule.begin_test(10)
    assert schedule.next_edge() == Edge(150 * MS, False)


def test_nothing_to_sound_leaves_the_test_going() -> None:
    schedule = fresh()
    schedule.begin_test(0)
    played(schedule, 100 * MS)
    schedule.demand(SILENT, 100 * MS)
    assert schedule.is_testing
    assert schedule.begin_test(150 * MS)  # asked twice, it goes on
    assert schedule.next_edge() == Edge(200 * MS, False)


def test_a_late_caller_swallows_no_pulse() -> None:
    schedule = fresh()
    schedule.begin_test(0)
    levels = [schedule.take(number * 2_000 * MS) for number in range(36)]
    assert levels == [True, False] * 18


@pytest.mark.parametrize(("colour", "length_ms"), [(LampColour.RED, 250), (LampColour.YELLOW, 800)])
def test_a_lamp_flashes_three_times(colour: LampColour, length_ms: int) -> None:
    assert [length for _, length in pulses_ms(list(lamp_test(colour)))] == [length_ms] * 3
