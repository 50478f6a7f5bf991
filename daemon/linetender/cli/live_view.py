"""The view of a running station in a terminal: calm, 80 columns, readable without colour."""

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from linetender.annunciation.words import PRIORITY_WORDS
from linetender.cli.spoken import spoken_line
from linetender.core.alarm_table import AlarmState
from linetender.core.events import Event
from linetender.core.instants import to_seconds
from linetender.core.plan import Plan
from linetender.core.signals import Signal
from linetender.core.snapshot import AlarmView, SignalView, Snapshot
from linetender.core.stages import Priority

_SHOWN: dict[Signal, tuple[str, str]] = {
    Signal.AIR_PERCENT_OF_BASELINE: ("Air", "% of normal"),
    Signal.AIRFLOW_L_MIN: ("Airflow", "L/min"),
    Signal.HOOD_PRESSURE_PA: ("Hood pressure", "Pa"),
    Signal.DUCT_PRESSURE_PA: ("Duct pressure", "Pa"),
    Signal.SPO2_PERCENT: ("Oxygen (SpO2)", "%"),
    Signal.PULSE_RATE_BPM: ("Pulse", "/min"),
    Signal.HOOD_CO2_PPM: ("CO2 in hood", "ppm"),
    Signal.INTAKE_CO_PPM: ("CO at intake", "ppm"),
    Signal.FAN_SPEED_RPM: ("Fan", "rpm"),
    Signal.SUPPLY_VOLTAGE_V: ("Supply", "V"),
}

_STATE_WORDS = {
    AlarmState.UNACKNOWLEDGED: "sounding",
    AlarmState.ACKNOWLEDGED: "answered, not over",
    AlarmState.RETURNED: "over, not answered",
    AlarmState.LATCHED: "over, sounding until answered",
    AlarmState.LATCHED_ACKNOWLEDGED: "over, answered",
    AlarmState.SHELVED: "set aside",
    AlarmState.SUPPRESSED: "not sounded",
    AlarmState.OUT_OF_SERVICE: "out of service",
}

_STYLES = {Priority.HIGH: "bold red", Priority.MEDIUM: "yellow", Priority.LOW: "cyan"}

_LINES_KEPT = 6
_BAR_WIDTH = 24


class LiveView:
    """Shows a station while it runs.

    Args:
        plan: The station.
        console: Where to draw.
        title: Said in the frame.
    """

    def __init__(self, plan: Plan, console: Console, title: str) -> None:
        self._plan = plan
        self._title = title
        self._lines: list[str] = []
        self._live = Live(console=console, auto_refresh=False, transient=True)

    def __enter__(self) -> "LiveView":
        self._live.start()
        return self

    def __exit__(self, *failure: object) -> None:
        self._live.stop()

    def show(self, events: tuple[Event, ...], snapshot: Snapshot) -> None:
        """Take what happened and how things stand; draw."""
        for event in events:
            line = spoken_line(event, self._plan)
            if line is not None:
                self._lines = [*self._lines, line][-_LINES_KEPT:]
        self._live.update(self.draw(snapshot), refresh=True)

    def draw(self, snapshot: Snapshot) -> RenderableType:
        """Return the view of a snapshot."""
        body = Group(
            self._heading(snapshot),
            Text(),
            _signals(snapshot.signals),
            Text(),
            _alarms(snapshot.alarms),
            Text(),
            *[Text(line, style="dim", overflow="ellipsis", no_wrap=True) for line in self._lines],
        )
        return Panel(body, title=self._title, width=80)

    def _heading(self, snapshot: Snapshot) -> Text:
        stage = snapshot.stage.value.replace("_", "-")
        watched = "air watched" if snapshot.air_armed else "air not watched yet"
        text = Text(f"{to_seconds(snapshot.now_ns):6.1f} s   stage: {stage}   {watched}")
        sound = snapshot.demand.sound.value
        text.append(f"   sounder: {sound}", style="" if sound == "silent" else "bold")
        return text


def _signals(signals: tuple[SignalView, ...]) -> Table:
    table = Table.grid(padding=(0, 2))
    for view in signals:
        if view.signal not in _SHOWN:
            continue
        name, unit = _SHOWN[view.signal]
        if view.value is None:
            reason = (view.reason or "").replace("_", " ")
            table.add_row(name, "–", unit, Text(f"no value: {reason}", style="dim"))
        else:
            bar = _bar(view.value) if view.signal is Signal.AIR_PERCENT_OF_BASELINE else Text()
            doubt = f"doubtful: {view.reason.replace('_', ' ')}" if view.reason else ""
            table.add_row(name, f"{view.value:g}", unit, bar if not doubt else Text(doubt))
    return table


def _bar(percent: float) -> Text:
    filled = round(min(max(percent, 0.0), 100.0) / 100.0 * _BAR_WIDTH)
    return Text("█" * filled + "·" * (_BAR_WIDTH - filled))


def _alarms(alarms: tuple[AlarmView, ...]) -> RenderableType:
    if not alarms:
        return Text("No alarms.")
    table = Table.grid(padding=(0, 2))
    for view in alarms:
        table.add_row(
            Text(PRIORITY_WORDS[view.priority], style=_STYLES[view.priority]),
            view.say,
            Text(_STATE_WORDS[view.state], style="dim"),
        )
    return table
