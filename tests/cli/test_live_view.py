"""The view fits 80 columns, says everything in words, and does not jump."""

import io
import re
from typing import Any

import msgspec
import pytest
from rich.console import Console

from linetender.cli.live_view import LiveView, draw_station
from linetender.cli.plain_view import station_lines
from linetender.cli.status import broker_line
from linetender.core.alarm_table import AlarmState
from linetender.core.cause import Cause
from linetender.core.events import AlarmChanged, Demand, Sound
from linetender.core.inputs import Quality
from linetender.core.pre_use import CheckState
from linetender.core.signals import Signal
from linetender.core.snapshot import (
    AlarmView,
    CauseView,
    CheckView,
    Question,
    SignalView,
    Snapshot,
)
from linetender.core.stages import Priority, Stage
from linetender.runtime.control_messages import BrokerView
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped

S = 1_000_000_000
SAY = "Air lost. Leave, then take the hood off."
LONG_SAY = "Oxygen reading lost after a fall. Leave, then take the hood off, and call somebody."


@pytest.fixture(autouse=True)
def _a_terminal_with_a_size(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rich takes every dumb terminal, such as that of a cron job, for 80 columns wide."""
    monkeypatch.setenv("TERM", "xterm")


def shown(snapshot: Snapshot, *, colour: bool = False, width: int = 80, events: int = 0) -> str:
    """Draw a snapshot after some events; return what a terminal would get, without movements."""
    plan = load_station(shipped("config/demo.toml")).plan
    system = "truecolor" if colour else None
    console = Console(
        file=io.StringIO(), width=width, record=True, force_terminal=True, color_system=system
    )
    view = LiveView(plan, console, "a test")
    for number in range(events):
        changed = AlarmChanged(
            number * S,
            number + 1,
            "air_lost",
            AlarmState.UNACKNOWLEDGED,
            AlarmState.ACKNOWLEDGED,
            Priority.HIGH,
        )
        view.show((changed,), snapshot)
    console.export_text(clear=True)
    console.print(view.draw(snapshot))
    return console.export_text(styles=colour)


def signal(name: Signal, value: float | None, reason: str | None = None) -> SignalView:
    quality = Quality.BAD if value is None else Quality.GOOD
    return SignalView(name, value, reason, quality, S)


def snapshot(*alarms: AlarmView, sound: Sound = Sound.SILENT) -> Snapshot:
    return Snapshot(
        now_ns=75 * S,
        stage=Stage.WORN,
        n=3,
        signals=(
            signal(Signal.HOOD_PRESSURE_PA, 3.2),
            signal(Signal.SPO2_PERCENT, None, "no_reading_yet"),
            signal(Signal.PULSE_RATE_BPM, 84.0),
            signal(Signal.AIR_PERCENT_OF_BASELINE, 20.4),
        ),
        alarms=alarms,
        demand=Demand(sound, light=alarms[0].priority if alarms else None),
        air_armed=True,
        air_baseline=60.0,
        check=CheckView(CheckState.PASSED),
    )


def alarm(state: AlarmState, say: str = SAY, priority: Priority = Priority.HIGH) -> AlarmView:
    return AlarmView("air_lost", state, priority, 74 * S, 1, say)


CALM = snapshot()
LEAVE = snapshot(alarm(AlarmState.UNACKNOWLEDGED), sound=Sound.HIGH)
MANY = snapshot(
    *[
        alarm(state, LONG_SAY, priority)
        for state in AlarmState
        if state is not AlarmState.NORMAL
        for priority in Priority
    ],
    sound=Sound.HIGH,
)


@pytest.mark.parametrize("view", [CALM, LEAVE, MANY], ids=["calm", "leave", "many"])
@pytest.mark.parametrize("events", [0, 1, 20])
@pytest.mark.parametrize("width", [80, 60, 200])
def test_no_line_is_longer_than_the_terminal_or_80(view: Snapshot, events: int, width: int) -> None:
    drawn = shown(view, width=width, events=events)
    assert max(map(len, drawn.splitlines())) == min(width, 80)
    assert "\x1b" not in drawn


def test_what_is_drawn_when_all_is_well() -> None:
    assert shown(CALM).splitlines() == [
        "╭─────────────────────────────────── a test ───────────────────────────────────╮",
        "│   75.0 s   stage: worn   air watched   sounder: quiet                        │",
        "│                                                                              │",
        "│ Air                 20  % of normal  █████···················                │",
        "│ Hood pressure      3.2  Pa                                                   │",
        "│ Oxygen (SpO2)        –  %            no value: no reading yet                │",
        "│ Pulse               84  /min                                                 │",
        "│                                                                              │",
        "│ No alarms.                                                                   │",
        *["│                                                                              │"] * 9,
        "╰──────────────────────────────────────────────────────────────────────────────╯",
    ]


def test_an_alarm_is_told_in_words_not_by_colour_alone() -> None:
    drawn = shown(LEAVE)
    assert "sounder: LEAVE" in drawn
    assert f"LEAVE  {SAY}  sounding" in drawn


def test_colour_adds_nothing_but_colour() -> None:
    coloured = shown(LEAVE, colour=True)
    assert "\x1b[" in coloured
    assert re.sub(r"\x1b\[[\d;]*m", "", coloured) == shown(LEAVE)


def test_what_happened_last_is_told_whole() -> None:
    """What to do stands at the end of a line."""
    lines = [f"{10.0 + turn:9.1f} s  Cause: The fan has stopped. {SAY} {turn}" for turn in range(9)]
    console = Console(file=io.StringIO(), width=80, record=True)
    console.print(draw_station(CALM, lines, "a test", 80))
    assert [row.strip("│ ") for row in console.export_text().splitlines()[-7:-1]] == [
        "16.0 s  Cause: The fan has stopped. Air lost. Leave, then take the hood",
        "off. 6",
        "17.0 s  Cause: The fan has stopped. Air lost. Leave, then take the hood",
        "off. 7",
        "18.0 s  Cause: The fan has stopped. Air lost. Leave, then take the hood",
        "off. 8",
    ]


CAUSES = [
    (None, None),
    (CauseView(Cause.NOT_CLEAR, 0.0), None),
    (
        CauseView(Cause.FAN_STOPPED, 0.8),
        "Cause: The fan has stopped. Leave. Once out: look at the fan and its plug.",
    ),
    (
        CauseView(Cause.DUCT_OR_TAP_TUBE_OFF, 0.8, (Cause.LINE_BLOCKED,)),
        "Cause: The duct is off, or the sensor's tube. Or: kink. Leave. Once out: look at the duct "
        "first, then at the sensor's tube.",
    ),
]


@pytest.mark.parametrize(("cause", "told"), CAUSES)
def test_shown_once_an_alarm_has_its_cause_below(cause: CauseView | None, told: str | None) -> None:
    """In the moving view it was told as it was named."""
    view = snapshot(msgspec.structs.replace(alarm(AlarmState.UNACKNOWLEDGED), cause=cause))
    console = Console(file=io.StringIO(), width=80, record=True)
    console.print(draw_station(view, None, "a test", 80))
    rows = [row.strip("│╭╮╰╯─ ") for row in console.export_text().splitlines()]
    (place,) = [number for number, row in enumerate(rows) if row.startswith(f"LEAVE  {SAY}")]
    assert " ".join(rows[place + 1 : -1]) == (told or "")
    assert [line for line in station_lines(view) if line.startswith("Cause")] == (
        [told] if told else []
    )


def test_what_another_suppresses_has_no_cause_of_its_own() -> None:
    stopped = CauseView(Cause.FAN_STOPPED, 0.8)
    view = msgspec.structs.replace(alarm(AlarmState.SUPPRESSED), cause=stopped)
    assert not [line for line in station_lines(snapshot(view)) if line.startswith("Cause")]


def test_the_frame_keeps_its_height() -> None:
    heights = {
        len(shown(view, events=events).splitlines()) for view in (CALM, LEAVE) for events in (0, 20)
    }
    assert len(heights) == 1


def test_the_gravest_alarm_stands_first() -> None:
    look = alarm(AlarmState.UNACKNOWLEDGED, "Look at it.", Priority.MEDIUM)
    drawn = shown(snapshot(look, alarm(AlarmState.UNACKNOWLEDGED)))
    assert drawn.index("LEAVE") < drawn.index("LOOK")


NOTES = [
    ({"check": CheckView(CheckState.NONE)}, "NOT CHECKED before use; watched all the same."),
    ({"check": CheckView(CheckState.REFUSED)}, "NOT CHECKED before use; watched all the same."),
    ({"stage": Stage.IDLE, "check": CheckView(CheckState.NONE)}, ""),
    (
        {"check": CheckView(CheckState.PASSED, overrides=(("heard", "mended"), ("disk", "full")))},
        "Checked, but without: heard, disk.",
    ),
    (
        {"question": Question.HOOD},
        "The power was cut. Hood off: tap. Help: hold. Silence calls for help.",
    ),
    ({"question": Question.FALSE_LEAVE}, "Was the last LEAVE false? One tap says so."),
]


@pytest.mark.parametrize(("changes", "note"), NOTES)
def test_the_second_line_says_what_a_tap_answers_and_what_was_not_checked(
    changes: dict[str, Any], note: str
) -> None:
    view = msgspec.structs.replace(CALM, **changes)
    assert shown(view).splitlines()[2].strip("│ ") == note


@pytest.mark.parametrize(
    ("broker", "said"),
    [
        (BrokerView(True, 0, 3.2), "Broker: connected, last message confirmed 3.2 s ago."),
        (BrokerView(True, 2, None), "Broker: connected, nothing confirmed yet, 2 waiting."),
        (
            BrokerView(False, 12, 725.0),
            "Broker: NOT connected, last message confirmed 12 min 5 s ago, 12 waiting.",
        ),
    ],
)
def test_the_way_to_the_broker_is_told(broker: BrokerView, said: str) -> None:
    assert broker_line(broker) == said
