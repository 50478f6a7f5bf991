"""A person at the terminal: what is asked, and what is made of the answers."""

from collections.abc import Callable
from typing import Any

import pytest
import typer
from rich.console import Console
from typer.testing import CliRunner

from linetender.airline.teaching import LineState
from linetender.cli.calibration_guides import WHAT_TO_DO, TerminalGuide
from linetender.cli.residual_plot import residual_plot
from linetender.runtime.calibration_guide import BagFills, Conditions, FlowAnswer, Traverse


def asked(typed: str, ask: Callable[[TerminalGuide], Any]) -> tuple[Any, str]:
    """Let a person type, and return what the guide made of it and what was on the screen."""
    answers: list[Any] = []
    app = typer.Typer()

    @app.command()
    def main() -> None:
        answers.append(ask(TerminalGuide(Console(width=80))))

    result = CliRunner().invoke(app, [], input=typed)
    if result.exception is not None:
        raise result.exception
    return answers[0], result.stdout


def test_the_air() -> None:
    assert asked("18.5\n\n", lambda guide: guide.conditions())[0] == Conditions(18.5, 50.0)
    assert asked("warm\n999\n200\n", lambda guide: guide.conditions())[0] == Conditions(50.0, 100.0)


@pytest.mark.parametrize("state", LineState)
def test_each_state_is_described_and_waited_for(state: LineState) -> None:
    _, screen = asked("\n", lambda guide: guide.prepare(state))
    assert WHAT_TO_DO[state] in screen
    assert "press Enter" in screen


@pytest.mark.parametrize(
    ("point", "typed", "answer"),
    [
        (1, "bag\n200\n58.2 59.0 57,6\n", FlowAnswer(BagFills(200.0, (58.2, 59.0, 57.6)))),
        (1, "\n\nsixty\n60\n", FlowAnswer(BagFills(200.0, (60.0,)))),
        (
            4,
            "y\ntraverse\n75\n1 2 3 3 2 1\n",
            FlowAnswer(Traverse(75.0, (1.0, 2.0, 3.0, 3.0, 2.0, 1.0)), is_check=True),
        ),
        (4, "n\nbag\n100\n30\n", FlowAnswer(BagFills(100.0, (30.0,)))),
    ],
)
def test_a_flow(point: int, typed: str, answer: FlowAnswer) -> None:
    assert asked(typed, lambda guide: guide.flow(point))[0] == answer


def test_a_traverse_is_told_where_to_measure() -> None:
    _, screen = asked("t\n100\n1 1 1 1 1 1\n", lambda guide: guide.flow(1))
    assert "6 points, mm from the wall: 3 14 32 68 86 97" in screen


@pytest.mark.parametrize(
    ("point", "typed", "goes_on"),
    [
        (1, "\n", True),
        (2, "\n", True),
        (3, "\n", True),
        (4, "n\n", False),
        (4, "\n", True),
        (6, "\n", False),
    ],
)
def test_three_settings_are_needed_and_more_are_offered(
    point: int, typed: str, goes_on: bool
) -> None:
    assert asked(typed, lambda guide: guide.set_flow(point))[0] is goes_on


def test_reasons_are_told_before_it_asks() -> None:
    again, screen = asked("\n", lambda guide: guide.retries(["The zero is off by 3 Pa."]))
    assert again is True
    assert "The zero is off by 3 Pa." in screen


def test_the_residual_plot() -> None:
    lines = residual_plot([60.0, 15.0, 31.5], [250.0, 118.0, 178.5], [0.01, -0.04, 0.0])
    assert lines == [
        "       Pa    L/min      off  -4.0 %              0              +4.0 %",
        "    15.00    118.0   -4.00%  *                   |",
        "    31.50    178.5   +0.00%                      *",
        "    60.00    250.0   +1.00%                      |    *",
    ]
    assert max(map(len, lines)) <= 80
