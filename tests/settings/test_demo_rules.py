"""The demo's rules tell a half-crushed duct 5 s in, and are done before the fan stops."""

from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged, Event
from linetender.core.inputs import By, Command, Verb, reading
from linetender.core.instants import SECOND_NS
from linetender.core.signals import Signal
from linetender.core.watch import Watch
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped

PERIOD_NS = SECOND_NS // 25


def _pressure_pa(second: float) -> float:
    """Invented: 60 Pa, 36 Pa while the duct is half crushed, and a fan that coasts down."""
    if 45.0 <= second < 57.0:
        return 36.0
    coasted = max(0.0, second - 70.0)
    return 60.0 / (1.0 + coasted / 4.0) ** 2


def test_crushed_from_45_to_57_s_stopped_at_70_s() -> None:
    watch = Watch(load_station(shipped("config/demo.toml")).plan, 0)
    events: list[Event] = [*watch.feed(Command(0, Verb.START, By.WEARER))]
    for sample in range(25 * 75):
        now_ns = sample * PERIOD_NS
        value = _pressure_pa(now_ns / SECOND_NS) + (sample % 2) * 0.1
        events += watch.feed(reading(now_ns, Signal.HOOD_PRESSURE_PA, value, source="air"))
        if sample % 25 == 0:
            events += watch.feed(reading(now_ns, Signal.SPO2_PERCENT, 97.0, source="oximeter"))
            events += watch.feed(reading(now_ns, Signal.PULSE_RATE_BPM, 72.0, source="oximeter"))
    changes = [
        (event.rule, event.after, event.due_ns / SECOND_NS)
        for event in events
        if isinstance(event, AlarmChanged)
    ]
    sounded = {rule for rule, after, _ in changes if after is AlarmState.UNACKNOWLEDGED}
    assert sounded == {"air_falling", "air_lost"}
    changes = [change for change in changes if change[0] in sounded]
    assert [change[:2] for change in changes[:3]] == [
        ("air_falling", AlarmState.UNACKNOWLEDGED),
        ("air_falling", AlarmState.RETURNED),
        ("air_lost", AlarmState.UNACKNOWLEDGED),
    ]
    raised_s, cleared_s, lost_s = (change[2] for change in changes[:3])
    assert 50.0 <= raised_s <= 50.2
    assert 65.0 <= cleared_s <= 65.2
    assert 72.0 < lost_s < 75.0
