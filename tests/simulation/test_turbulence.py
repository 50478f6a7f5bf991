"""Noise that is a function of seed and time alone."""

import statistics
from itertools import pairwise

import pytest

from linetender.simulation.turbulence import Turbulence

SAMPLE_NS = 40_000_000
AN_HOUR = [k * SAMPLE_NS for k in range(90_000)]


def test_statistics_over_an_hour() -> None:
    noise = Turbulence(seed=1, channel=0)
    values = [noise.value(at) for at in AN_HOUR]
    assert abs(statistics.fmean(values)) < 0.05
    assert statistics.pstdev(values) == pytest.approx(1.0, abs=0.1)
    assert max(map(abs, values)) < 6.0


def test_slow_swings_are_stronger_than_fast_ones() -> None:
    """From one sample to the next it moves little; 1 s means still move a good part."""
    noise = Turbulence(seed=2, channel=0)
    values = [noise.value(at) for at in AN_HOUR[:25_000]]
    steps = [after - before for before, after in pairwise(values)]
    means = [statistics.fmean(values[k : k + 25]) for k in range(0, len(values), 25)]
    assert statistics.pstdev(steps) < 0.5
    assert 0.75 < statistics.pstdev(means) < 0.95


def test_the_order_of_asking_does_not_matter() -> None:
    instants = [k * 7_300_000 for k in range(2_000)]
    forwards = Turbulence(seed=3, channel=0)
    backwards = Turbulence(seed=3, channel=0)
    expected = [forwards.value(at) for at in instants]
    assert [backwards.value(at) for at in reversed(instants)] == expected[::-1]
    sparse = Turbulence(seed=3, channel=0)
    assert [sparse.value(at) for at in instants[::97]] == expected[::97]


def test_seed_and_channel_tell_signals_apart() -> None:
    def first(seed: int, channel: int) -> tuple[float, ...]:
        noise = Turbulence(seed, channel)
        return tuple(noise.value(at) for at in AN_HOUR[:50])

    days = [(1, 0), (2, 0), (1, 1), (-1, 0), (2**70, 0)]
    assert len({first(*day) for day in days}) == len(days)
    assert first(1, 0) == first(1, 0)


def test_known_values() -> None:
    """The same on every machine and Python: whole-number hashing, sums and products only.

    The values are the project's own; they change only if recordings may change.
    """
    noise = Turbulence(seed=1, channel=0)
    assert [round(noise.value(at), 9) for at in (0, 20_000_000, 3_600_000_000_000)] == [
        -1.413640581,
        -1.422388776,
        0.267924781,
    ]
