"""What is usual for this wearer: baselines of oxygen and pulse."""

import pytest

from core.watching import Bench, plan
from linetender.core.events import BaselineSet, StepChanged
from linetender.core.inputs import Verb
from linetender.core.signals import Signal

SPO2, PULSE = Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM


def baselines(bench: Bench) -> list[tuple[str, float | None, str]]:
    """Return (signal, value, source) of each baseline set or discarded."""
    return [
        (event.signal, event.value, event.source)
        for event in bench.said
        if isinstance(event, BaselineSet)
    ]


# One value a second from the start of the use: the baseline, or None.
VALUES = [
    ("30 means", [97.0] * 31, 97.0),
    ("29 are too few", [97.0] * 30, None),
    ("the median, whatever one sample says", [97.0] * 20 + [70.0] + [97.0] * 10, 97.0),
    ("half of them higher", [96.0] * 15 + [98.0] * 16, 97.0),
    ("99 counts as 98, so that 95 is no fall of four", [99.0] * 31, 98.0),
    ("exactly 92 is accepted", [92.0] * 31, 92.0),
    ("under 92 it is refused", [91.9] * 31, None),
    ("refused, then tried again", [91.0] * 30 + [95.0] * 31, 95.0),
    ("a bad reading starts it again", [97.0] * 20 + [None] + [97.0] * 20, None),
]


@pytest.mark.parametrize(
    ("values", "expected"), [case[1:] for case in VALUES], ids=[case[0] for case in VALUES]
)
@pytest.mark.parametrize(("verb", "source"), [(Verb.PRE_USE, "pre_use"), (Verb.START, "worn")])
def test_oxygen_baseline(
    values: list[float | None], expected: float | None, verb: Verb, source: str
) -> None:
    bench = Bench(plan())
    bench.command(0.0, verb)
    for second, value in enumerate(values):
        if value is None:
            bench.bad(float(second), SPO2)
        else:
            bench.good(float(second), SPO2, value)
    assert baselines(bench) == ([] if expected is None else [("spo2_percent", expected, source)])


def test_the_pulse_has_no_lowest_baseline() -> None:
    bench = Bench(plan(signals=(PULSE,)))
    bench.command(0.0, Verb.START)
    bench.stream(0.0, 31.0, 1.0, pulse_rate_bpm=45.0)
    assert baselines(bench) == [("pulse_rate_bpm", 45.0, "worn")]


def test_a_refused_baseline_fails_the_step_of_the_check() -> None:
    bench = Bench(plan(air=True))
    bench.command(0.0, Verb.PRE_USE)
    for second in range(35):
        bench.good(float(second), Signal.HOOD_PRESSURE_PA, 60.0)
        bench.good(second + 0.1, SPO2, 90.0)
    steps = [
        (e.step, e.state.value, e.why)
        for e in bench.said
        if isinstance(e, StepChanged) and e.step == "spo2_percent"
    ]
    assert steps == [("spo2_percent", "waiting", ""), ("spo2_percent", "failed", "under 92 %")]


def test_nothing_is_gathered_in_idle_and_an_end_discards_it() -> None:
    bench = Bench(plan())
    bench.stream(0.0, 100.0, 1.0, spo2_percent=97.0)
    assert baselines(bench) == []
    bench.command(100.0, Verb.START)
    bench.stream(100.0, 140.0, 1.0, spo2_percent=97.0)
    bench.command(140.0, Verb.END)
    assert baselines(bench) == [("spo2_percent", 97.0, "worn"), ("spo2_percent", None, "ended")]


def test_the_check_keeps_its_baseline_when_the_hood_goes_on() -> None:
    bench = Bench(plan())
    bench.command(0.0, Verb.PRE_USE)
    bench.stream(0.0, 40.0, 1.0, spo2_percent=97.0)
    bench.command(40.0, Verb.START)
    bench.stream(40.0, 100.0, 1.0, spo2_percent=93.0)
    assert baselines(bench) == [("spo2_percent", 97.0, "pre_use")]


def test_a_silence_starts_the_gathering_again() -> None:
    """Thirty good seconds are thirty seconds in a row."""
    bench = Bench(plan())
    bench.command(0.0, Verb.START)
    bench.stream(0.0, 20.0, 1.0, spo2_percent=97.0)
    bench.stream(300.0, 320.0, 1.0, spo2_percent=97.0)
    assert baselines(bench) == []
    bench.stream(320.0, 335.0, 1.0, spo2_percent=97.0)
    assert baselines(bench) == [("spo2_percent", 97.0, "worn")]
