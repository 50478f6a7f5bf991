"""What a person is told of: not the lesser form of what another alarm says already."""

from core.watching import Bench, plan, rule
from linetender.annunciation.news import News
from linetender.annunciation.words import alarm_line
from linetender.core import plan as plans
from linetender.core.events import AlarmChanged
from linetender.core.inputs import Verb
from linetender.core.signals import Signal
from linetender.core.stages import Priority

SPO2 = Signal.SPO2_PERCENT
STATION = plan(
    rule(plans.Below(SPO2, 80.0, 1.0), id="low", priority=Priority.HIGH, killer=True),
    rule(plans.Below(SPO2, 90.0, 1.0), id="lower", on_s=1.0, suppressed_by=("low",)),
)


def told(bench: Bench) -> list[str]:
    """Return the lines about all that a bench said."""
    news = News()
    return [
        alarm_line(event, STATION, leaves_the_room=False)
        for event in bench.said
        if isinstance(event, AlarmChanged) and news.is_news(event)
    ]


def test_what_a_graver_alarm_suppresses_and_its_end_are_no_news() -> None:
    bench = Bench(STATION)
    bench.good(1.0, SPO2, 70.0)
    bench.good(2.5, SPO2, 97.0)
    assert ("SUPPRESSED", "NORMAL") == tuple(state for _, state in bench.alarms("lower"))
    assert told(bench) == ["LEAVE: low speaks.", "LEAVE, back to normal, not answered: low speaks."]


def test_what_is_left_of_it_is_told_as_new() -> None:
    bench = Bench(STATION)
    bench.good(1.0, SPO2, 70.0)
    bench.good(2.5, SPO2, 85.0)
    assert told(bench)[1:] == [
        "LEAVE, back to normal, not answered: low speaks.",
        "LOOK: lower speaks.",
    ]


def test_what_was_told_before_is_over_when_it_is() -> None:
    bench = Bench(STATION)
    bench.good(1.0, SPO2, 85.0)
    bench.good(2.5, SPO2, 70.0)
    bench.press(3.0)
    bench.good(4.0, SPO2, 97.0)
    assert [line.partition(",")[0] for line in told(bench)] == [
        "LOOK: lower speaks.",
        "LEAVE: low speaks.",
        "LEAVE",
        "LOOK",
        "Over: low speaks.",
        "Over: lower speaks.",
    ]


def test_a_wearer_who_is_out_and_the_end_of_what_was_left_behind_are_news() -> None:
    bench = Bench(STATION)
    bench.command(0.0, Verb.START)
    bench.good(1.0, SPO2, 70.0)
    bench.command(2.0, Verb.OUT)
    bench.good(4.0, SPO2, 97.0)
    assert told(bench) == [
        "LEAVE: low speaks.",
        "The wearer is out: low speaks.",
        "Over: low speaks.",
    ]
