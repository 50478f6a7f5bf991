"""The pictures of README.md, made by the project's own commands from invented data."""

import io
import subprocess
import sys
from pathlib import Path

from rich.console import Console

from linetender.cli.live_view import LiveView
from linetender.cli.scenario_play import Play, scenario_named, station_of_scenario
from linetender.core.events import Event, Sound
from linetender.core.snapshot import Snapshot
from reports.rendered import CHROMIUM, OPTIONS

FOLDER = Path(__file__).parent / "pictures"
LIVE_VIEW = FOLDER / "live_view.svg"
REPORT = FOLDER / "report.png"

TITLE = "linetender demo: an invented station"
COLUMNS = 80

# Rich's own template would fetch a font from the network.
SVG = """\
<svg viewBox="0 0 {width} {height}" xmlns="http://www.w3.org/2000/svg" role="img">
<title>The live view of an invented station</title>
<style>
.{unique_id}-matrix {{ font-family: monospace; font-size: {char_height}px; }}
{styles}
</style>
<defs>
<clipPath id="{unique_id}-clip-terminal">
<rect x="0" y="0" width="{terminal_width}" height="{terminal_height}" />
</clipPath>
{lines}
</defs>
<rect width="{width}" height="{height}" fill="#292929" rx="8" />
<g transform="translate({terminal_x}, {terminal_y})">
{backgrounds}
<g class="{unique_id}-matrix">
{matrix}
</g>
</g>
</svg>
"""


def live_view() -> Console:
    """Return a console that holds the demo's live view when LEAVE has sounded for a while."""
    console = Console(
        file=io.StringIO(),
        width=COLUMNS,
        record=True,
        force_terminal=True,
        color_system="truecolor",
    )
    view = LiveView(station_of_scenario("demo").plan, console, TITLE)
    shown = []

    def look(events: tuple[Event, ...], snapshot: Snapshot) -> None:
        view.show(events, snapshot)
        if snapshot.demand.sound is Sound.HIGH:
            shown.append(view.draw(snapshot))

    play = Play(scenario_named("demo"), 1)
    play.listeners = (look,)
    play.run()
    console.export_text(clear=True)
    console.print(shown[-1])
    return console


def live_view_text() -> str:
    """Return the words of the live view."""
    return live_view().export_text()


def live_view_svg() -> str:
    """Return its picture."""
    return live_view().export_svg(title=TITLE, code_format=SVG, unique_id="live")


def photograph_report(folder: Path) -> bytes:
    """Record the demo, make its report, and return what a browser shows of it (PNG)."""
    assert CHROMIUM is not None, "install chromium"
    session, picture = folder / "session.jsonl", folder / "report.png"
    command = Path(sys.executable).with_name("linetender")
    demo = ["demo", "--headless", "--speed", "0", "--record", session]
    subprocess.run([command, *demo], capture_output=True, check=True, timeout=100)
    subprocess.run([command, "report", session], capture_output=True, check=True, timeout=100)
    page = folder / "session.report.html"
    profile = f"--user-data-dir={folder / 'profile'}"
    shot = [f"--screenshot={picture}", "--window-size=900,840", profile, page.as_uri()]
    subprocess.run([CHROMIUM, *OPTIONS, *shot], capture_output=True, check=True, timeout=100)
    return picture.read_bytes()
