"""The view of a running station in a terminal: calm, 80 columns, readable without colour."""

from collections.abc import Sequence
from textwrap import wrap
from typing import NamedTuple

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from linetender.annunciation.cause_words import cause_shown
from linetender.annunciation.words import PRIORITY_WORDS
from linetender.cli.spoken import Spoken
from linetender.core.alarm_table import AlarmState
from linetender.core.events import Event, Sound
from linetender.core.inputs import Quality
from linetender.core.instants import to_seconds
from linetender.core.plan import Plan
from linetender.core.pre_use import CheckState
from linetender.core.signals import Signal
from linetender.core.snapshot import AlarmView, Question, SignalView, Snapshot
from linetender.core.stages import PRIORITY_RANK, Priority, Stage


class _Row(NamedTuple):
    """How a signal is shown: what people call it, its unit, and decimals that stand still."""

    name: str
    unit: str
    decimals: int = 0


SHOWN: dict[Signal, _Row] = {
    Signal.AIR_PERCENT_OF_BASELINE: _Row("Air", "% of normal"),
    Signal.AIRFLOW_L_MIN: _Row("Airflow", "L/min"),
    Signal.HOOD_PRESSURE_PA: _Row("Hood pressure", "Pa", 1),
    Signal.DUCT_PRESSURE_PA: _Row("Duct pressure", "Pa", 1),
    Signal.SPO2_PERCENT: _Row("Oxygen (SpO2)", "%"),
    Signal.PULSE_RATE_BPM: _Row("Pulse", "/min"),
    Signal.HOOD_CO2_PPM: _Row("CO2 in hood", "ppm"),
    Signal.INTAKE_CO_PPM: _Row("CO at intake", "ppm"),
    Signal.FAN_SPEED_RPM: _Row("Fan", "rpm"),
    Signal.SUPPLY_VOLTAGE_V: _Row("Supply", "V", 2),
}
"""The signals that are shown, in the order of their weight."""

SOUND_WORDS = {
    Sound.SILENT: "quiet",
    Sound.TICKS: "ticking: one press answers",
    Sound.LOW: "LOOK",
    Sound.MEDIUM: "LOOK",
    Sound.HIGH: "LEAVE",
}

STATE_WORDS = {
    AlarmState.UNACKNOWLEDGED: "sounding",
    AlarmState.ACKNOWLEDGED: "answered, not over",
    AlarmState.RETURNED: "over, not answered",
    AlarmState.LATCHED: "over, sounding until answered",
    AlarmState.LATCHED_ACKNOWLEDGED: "over, answered",
    AlarmState.SHELVED: "set aside",
    AlarmState.SUPPRESSED: "goes with another",
    AlarmState.OUT_OF_SERVICE: "out of service",
}

_STYLES = {Priority.HIGH: "bold red", Priority.MEDIUM: "yellow", Priority.LOW: "cyan"}

_QUESTIONS = {
    Question.HOOD: "The power was cut. Hood off: tap. Help: hold. Silence calls for help.",
    Question.FALSE_LEAVE: "Was the last LEAVE false? One tap says so.",
}

_WIDTH = 80
_ALARM_LINES = 3
_FRAME = 4
_WORDS_FROM = 13
"""So far from the left stand the words of a line, behind its time."""
LINES_KEPT = 6
"""Rows kept free, so that the frame does not jump when something happens."""
_BAR_WIDTH = 24


class LiveView:
    """Shows a station while it runs.

    Args:
        plan: The station.
        console: Where to draw.
        title: Said in the frame.
    """

    def __init__(self, plan: Plan, console: Console, title: str) -> None:
        self._spoken = Spoken(plan, decimals=1)
        self._title = title
        self._lines: list[str] = []
        self._live = Live(console=console, auto_refresh=False)

    def __enter__(self) -> "LiveView":
        self._live.start()
        return self

    def __exit__(self, *failure: object) -> None:
        self._live.stop()

    def show(self, events: tuple[Event, ...], snapshot: Snapshot) -> None:
        """Take what happened and how things stand; draw."""
        for event in events:
            line = self._spoken.line(event)
            if line is not None:
                self._lines = [*self._lines, line][-LINES_KEPT:]
        self._live.update(self.draw(snapshot), refresh=True)

    def draw(self, snapshot: Snapshot) -> RenderableType:
        """Return the view of a snapshot."""
        return draw_station(snapshot, self._lines, self._title, self._live.console.width)


def draw_station(
    snapshot: Snapshot, lines: Sequence[str] | None, title: str, width: int
) -> RenderableType:
    """Return the view of a station.

    Args:
        snapshot: How it stands.
        lines: What happened last, oldest first; at most `LINES_KEPT`. None: the view is
            shown once, and no rows need be kept free.
        title: Said in the frame.
        width: Columns of the terminal.
    """
    moves = lines is not None
    columns = min(_WIDTH, width)
    rows = ["", *_rows(lines, columns - _FRAME)] if lines is not None else []
    body = Group(
        _heading(snapshot),
        Text(note_on(snapshot), style=_note_style(snapshot)),
        _signals(snapshot.signals),
        Text(),
        _alarms(snapshot, _ALARM_LINES) if moves else _alarms(snapshot, 1, tells_causes=True),
        *[Text(row, style="dim", overflow="ellipsis", no_wrap=True) for row in rows],
    )
    light = snapshot.demand.light
    frame = "none" if light is None else _STYLES[light]
    return Panel(body, title=title, width=columns, border_style=frame)


def _rows(lines: Sequence[str], columns: int) -> list[str]:
    """Return what happened last, in as many rows as are kept free: a line is told whole."""
    rows: list[str] = []
    for line in reversed(lines):
        broken = wrap(line, columns, subsequent_indent=" " * _WORDS_FROM)
        if rows and len(rows) + len(broken) > LINES_KEPT:
            break
        rows = [*broken, *rows][:LINES_KEPT]
    return [*rows, *[""] * (LINES_KEPT - len(rows))]


def _heading(snapshot: Snapshot) -> Text:
    stage = snapshot.stage.value.replace("_", "-")
    watched = "air watched" if snapshot.air_armed else "air not watched yet"
    text = Text(f"{to_seconds(snapshot.now_ns):6.1f} s   stage: {stage}   {watched}")
    sound = snapshot.demand.sound
    style = "" if sound is Sound.SILENT else "bold"
    text.append(f"   sounder: {SOUND_WORDS[sound]}", style=style)
    return text


def note_on(snapshot: Snapshot) -> str:
    """Return what one tap would answer, or that nobody checked the line before it was worn."""
    if snapshot.question is not Question.NONE:
        return _QUESTIONS[snapshot.question]
    is_worn = snapshot.stage is Stage.WORN
    if snapshot.check.state is CheckState.REFUSED or (
        is_worn and snapshot.check.state is not CheckState.PASSED
    ):
        return "NOT CHECKED before use; watched all the same."
    if snapshot.check.overrides:
        steps = ", ".join(step for step, _ in snapshot.check.overrides)
        return f"Checked, but without: {steps}."
    return ""


def _note_style(snapshot: Snapshot) -> str:
    return "yellow" if snapshot.question is Question.NONE else "bold yellow"


def _signals(signals: tuple[SignalView, ...]) -> Table:
    table = Table.grid(padding=(0, 2))
    table.add_column(min_width=14)
    table.add_column(min_width=6, justify="right")
    table.add_column(min_width=11)
    table.add_column()
    views = {view.signal: view for view in signals}
    for signal, row in SHOWN.items():
        if signal in views:
            value = views[signal].value
            number = "–" if value is None else f"{value:.{row.decimals}f}"
            table.add_row(row.name, number, row.unit, _remark(views[signal]))
    return table


def _remark(view: SignalView) -> Text:
    reason = (view.reason or "").replace("_", " ")
    if view.value is None:
        return Text(f"no value: {reason}", style="dim")
    if view.quality is not Quality.GOOD:
        return Text(f"doubtful: {reason}" if reason else "doubtful", style="dim")
    if view.uncertainty is not None:
        return Text(f"±{2.0 * view.uncertainty:.0f} (95 %)", style="dim")
    return _bar(view.value) if view.signal is Signal.AIR_PERCENT_OF_BASELINE else Text()


def _bar(percent: float) -> Text:
    filled = round(min(max(percent, 0.0), 100.0) / 100.0 * _BAR_WIDTH)
    return Text("█" * filled + "·" * (_BAR_WIDTH - filled))


def state_word(view: AlarmView, snapshot: Snapshot) -> str:
    """Return how an alarm stands, in at most 18 letters a line."""
    others = (AlarmState.SUPPRESSED, AlarmState.LATCHED_ACKNOWLEDGED)
    left = snapshot.stage is Stage.IDLE and all(each.state in others for each in snapshot.alarms)
    if left and view.state is AlarmState.SUPPRESSED:
        return "silent, you left"
    return STATE_WORDS[view.state]


def _alarms(snapshot: Snapshot, least_rows: int, *, tells_causes: bool = False) -> RenderableType:
    alarms = snapshot.alarms
    table = Table.grid(padding=(0, 2))
    table.add_column(no_wrap=True)
    table.add_column()
    table.add_column(max_width=18)
    if not alarms:
        table.add_row("No alarms.", "", "")
    for view in sorted(alarms, key=lambda view: -PRIORITY_RANK[view.priority]):
        table.add_row(
            Text(PRIORITY_WORDS[view.priority], style=_STYLES[view.priority]),
            view.say,
            Text(state_word(view, snapshot), style="dim"),
        )
        cause = cause_shown(view) if tells_causes else ""
        if cause:
            table.add_row("", Text(cause, style="dim"), "")
    for _ in range(least_rows - max(1, len(alarms))):
        table.add_row("", "", "")
    return table
