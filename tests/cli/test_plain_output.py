"""Plain output: words in lines, nothing drawn, no meaning by colour alone."""

import inspect
import re
from collections.abc import Sequence

import msgspec
import pytest
from rich.console import Console
from typer.models import CommandInfo

from installed_command import linetender
from linetender.cli import plain_output
from linetender.cli.calibration_speech import ConsoleSpeech
from linetender.cli.exit_codes import ExitCode
from linetender.cli.live_view import draw_station
from linetender.cli.main import GROUPS, VERBS
from linetender.cli.plain_output import is_plain, plainly, taking_plain
from linetender.cli.plain_view import changes, standing_lines, station_lines
from linetender.cli.replay_progress import ReplayBar
from linetender.cli.residual_plot import residual_plot
from linetender.cli.scenario_play import Play, scenario_named
from linetender.core.snapshot import Snapshot

DRAWN = re.compile(r"[\u2500-\u259f\x1b\r]|#{2}|\.{4}")
"""Box drawing, blocks, escapes, bars of hashes."""

NAMES = sorted(
    [*(verb.__name__.replace("_", "-") for verbs in VERBS.values() for verb in verbs), *GROUPS]
)


@pytest.mark.parametrize("arguments", [["lint", "--help"], ["limt"]])
def test_help_and_complaints_are_drawn_for_eyes_and_told_plainly(arguments: Sequence[str]) -> None:
    done = linetender("--plain", *arguments)
    assert DRAWN.findall(done.stdout + done.stderr) == []
    assert done.returncode in (ExitCode.FINE, ExitCode.USAGE)
    always = linetender(*arguments, LINETENDER_PLAIN="1")
    assert (always.stdout, always.stderr) == (done.stdout, done.stderr)


def test_plain_help_shows_every_verb() -> None:
    said = linetender("--help", "--plain").stdout
    assert [name for name in NAMES if f"  {name} " not in said] == []
    assert "..." not in said.partition("Commands:")[2]


def test_without_it_help_has_boxes() -> None:
    assert DRAWN.findall(linetender("--help").stdout) != []


GROUP_COMMANDS = [
    hand for group in GROUPS.values() for hand in group.registered_commands if hand.callback
]


@pytest.mark.parametrize("hand", GROUP_COMMANDS, ids=lambda hand: hand.callback.__name__)
def test_the_commands_of_a_verb_can_be_told_plainly_too(hand: CommandInfo) -> None:
    assert hand.callback is not None
    assert "plain" in inspect.signature(hand.callback).parameters


def test_the_demo_is_told_plainly() -> None:
    told = linetender("demo", "--plain", "--speed", "0")
    assert (told.returncode, DRAWN.findall(told.stdout)) == (ExitCode.FINE, [])
    assert "LEAVE: Air lost." in told.stdout


def test_a_verb_told_plainly_is_so_until_its_end_and_no_longer() -> None:
    heard = []

    def verb(number: int = 1) -> None:
        """Do."""
        heard.append((number, is_plain()))

    told = taking_plain(verb)
    told(number=2, plain=True)
    told(number=3)
    assert heard == [(2, True), (3, False)]
    assert (told.__name__, told.__doc__) == ("verb", "Do.")


@pytest.mark.parametrize(("value", "plain"), [("", False), ("0", False), ("1", True)])
def test_the_environment_asks_for_it(
    value: str, plain: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(plain_output.PLAIN_VARIABLE, value)
    assert is_plain() is plain


# A station


@pytest.fixture(name="snapshots", scope="module")
def _snapshots() -> list[Snapshot]:
    """How the demo's station stands at each of its events, invented as it is."""
    found: list[Snapshot] = []
    play = Play(scenario_named("demo"), 1)
    play.listeners = (lambda _, snapshot: found.append(snapshot),)
    play.run()
    return found


def test_a_plain_station_says_all_that_the_drawn_one_does(snapshots: list[Snapshot]) -> None:
    """Every word of the drawn view, its time, marks and units aside, stands in the lines."""
    console = Console(width=200, color_system=None, force_terminal=False)
    for snapshot in snapshots:
        with console.capture() as captured:
            console.print(draw_station(snapshot, (), "x", 200))
        drawn = set(re.findall(r"(?<![/\w])[A-Za-z]{3,}", captured.get().lower()))
        told = set(re.findall(r"(?<![/\w])[A-Za-z]{3,}", " ".join(station_lines(snapshot)).lower()))
        assert drawn - told == set()
        lines = list(station_lines(snapshot))
        assert DRAWN.findall(" ".join(lines)) == []
        assert len(set(lines)) == len(lines)


def test_the_most_urgent_alarm_comes_first(snapshots: list[Snapshot]) -> None:
    worst = next(s for s in snapshots if any(a.priority.value == "high" for a in s.alarms))
    assert next(station_lines(worst)).startswith("LEAVE, ")


def test_a_change_is_one_line(snapshots: list[Snapshot]) -> None:
    first = snapshots[0]
    later = replace_armed(first)
    assert changes(standing_lines(first), standing_lines(first)) == []
    assert len(changes(standing_lines(first), standing_lines(later))) == 1


def replace_armed(snapshot: Snapshot) -> Snapshot:
    """Return the snapshot with the air watched where it was not, and the other way."""
    return msgspec.structs.replace(snapshot, air_armed=not snapshot.air_armed)


# Verbs that draw


def test_points_of_a_fit_are_sentences() -> None:
    with plainly(True):
        told = residual_plot([10.0, 20.0], [100.0, 140.0], [0.01, -0.02])
    assert told == [
        "At 10.00 Pa 100.0 L/min, 1.00 % above the fit.",
        "At 20.00 Pa 140.0 L/min, 2.00 % below the fit.",
    ]


def test_a_measurement_in_a_terminal_is_one_line() -> None:
    console = Console(force_terminal=True, width=80, color_system=None)
    with (
        console.capture() as captured,
        plainly(True),
        ConsoleSpeech(console).measuring("zero", 20.0),
    ):
        pass
    assert captured.get() == "Measuring zero, 20 s.\n"


def test_long_work_says_how_far_it_is(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setattr("linetender.cli.replay_progress.BAR_AFTER_S", 0.0)
    with plainly(True), ReplayBar() as bar:
        for done in range(101):
            bar.told(done, 100)
    assert re.sub(r"\x1b\[[0-9;]*m", "", capsys.readouterr().err).splitlines() == [
        "Replaying, 25 %.",
        "Replaying, 50 %.",
        "Replaying, 75 %.",
        "Replaying, 100 %.",
    ]
