"""Ten minutes of good air with nobody watched: the default rules ask for a look."""

from linetender.core.events import AlarmChanged
from linetender.core.inputs import By, Command, Verb, reading
from linetender.core.instants import SECOND_NS
from linetender.core.signals import Signal
from linetender.core.stages import Priority
from linetender.core.watch import Watch
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped


def test_air_that_runs_with_nobody_watched_is_told_until_somebody_starts() -> None:
    watch = Watch(load_station(shipped("config/wearer_side_minimal.toml")).plan, 0)
    told: list[tuple[str, Priority, str, float]] = []

    def note(events) -> None:
        told.extend(
            (event.rule, event.priority, event.after, event.due_ns / SECOND_NS)
            for event in events
            if isinstance(event, AlarmChanged)
        )

    for second in range(700):
        value = 0.0 if second < 5 else 85.0 + second % 2 * 0.1  # invented: on after 5 s
        note(watch.feed(reading(second * SECOND_NS, Signal.HOOD_PRESSURE_PA, value, source="air")))
    raised, *more = told
    assert raised[:3] == ("not_checked", Priority.MEDIUM, "unacknowledged")
    assert 605.0 <= raised[3] <= 610.0
    assert more == []
    note(watch.feed(Command(700 * SECOND_NS, Verb.START, By.WEARER)))
    assert [change[0] for change in told] == ["not_checked", "not_checked"]
    assert told[-1][2] != "unacknowledged"
