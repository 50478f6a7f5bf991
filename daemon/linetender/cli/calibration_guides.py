"""Who answers a calibration: a person at the terminal, a file, or simulated hands."""

from collections.abc import Sequence
from contextlib import AbstractContextManager
from typing import Protocol

import typer
from rich.console import Console

from linetender.airline.teaching import LineState
from linetender.airline.traverse import POINT_COUNTS, depths
from linetender.cli.calibration_answers import AnswersFile
from linetender.cli.calibration_speech import WHAT_TO_DO, ConsoleSpeech, Speech
from linetender.runtime.calibration_guide import BagFills, Conditions, FlowAnswer, Traverse
from linetender.runtime.pressure_measuring import Told
from linetender.simulation.calibration_line import THROTTLES, CalibrationLine

SIMULATED_BAG_L = 200.0
SIMULATED_FILLS = 3


class _Teller:
    """Says things and shows measurements; common to all guides."""

    def __init__(self, speech: Speech) -> None:
        self._speech = speech

    def say(self, text: str) -> None:
        """Tell something."""
        self._speech.say(text)

    def measuring(self, what: str, seconds: float) -> AbstractContextManager[Told]:
        """Show a measurement."""
        return self._speech.measuring(what, seconds)


class TerminalGuide(_Teller):
    """A person.

    Args:
        console: Where they are told and asked.
    """

    def __init__(self, console: Console) -> None:
        super().__init__(ConsoleSpeech(console))

    def conditions(self) -> Conditions:
        """Ask for the air."""
        temperature = typer.prompt("Air temperature in the line, °C", default=20.0, type=float)
        humidity = typer.prompt("Relative humidity, %", default=50.0, type=float)
        return Conditions(
            min(max(temperature, -30.0), 50.0),
            min(max(humidity, 0.0), 100.0),
        )

    def prepare(self, state: LineState) -> None:
        """Say what to do and wait for Enter."""
        self.say("")
        typer.prompt(f"{WHAT_TO_DO[state]} Then press Enter", default="", show_default=False)

    def resumes(self, points: int, begun_at: str) -> bool:
        """Ask whether to go on."""
        when = begun_at[:16].replace("T", " ")
        question = f"A calibration begun {when} has {points} flow points. Go on with it?"
        return typer.confirm(question, default=True)

    def set_flow(self, point: int) -> bool:
        """Ask for the next setting."""
        self.say("")
        how = "Run the line at full flow" if point == 1 else "Throttle the line to another flow"
        if point <= 3:
            typer.prompt(f"{how}. Then press Enter", default="", show_default=False)
            return True
        return typer.confirm(f"{how} for setting {point}? No fits what there is", default=point < 6)

    def flow(self, point: int) -> FlowAnswer:
        """Ask what was measured, by bag or by traverse."""
        is_check = point > 3 and typer.confirm("Is this the second method, a check?", default=False)
        by = typer.prompt("Measured by bag or traverse", default="bag")
        if by.strip().lower().startswith("t"):
            return FlowAnswer(self._traverse(), is_check)
        volume_l = typer.prompt("Volume of the bag, litres", default=200.0, type=float)
        seconds = self._numbers("Seconds of each fill, e.g. 58.2 59.0 57.6")
        return FlowAnswer(BagFills(volume_l, seconds), is_check)

    def retries(self, reasons: Sequence[str]) -> bool:
        """Say why not, and ask."""
        for reason in reasons:
            self.say(f"✗ {reason}")
        return typer.confirm("Measure it again?", default=True)

    def _traverse(self) -> Traverse:
        diameter_mm = typer.prompt("Inside diameter of the duct, mm", default=100.0, type=float)
        for points in POINT_COUNTS:
            at = " ".join(f"{depth * diameter_mm:.0f}" for depth in depths(points))
            self.say(f"{points} points, mm from the wall: {at}")
        velocities = self._numbers("Velocities at all of one set, m/s; two diameters are better")
        return Traverse(diameter_mm, velocities)

    def _numbers(self, question: str) -> tuple[float, ...]:
        while True:
            text = typer.prompt(question)
            try:
                return tuple(float(word.replace(",", ".")) for word in text.split())
            except ValueError:
                self.say("Numbers with spaces between them were expected.")


class _Unattended(_Teller):
    """Nobody is there to do anything twice."""

    def resumes(self, points: int, begun_at: str) -> bool:
        """Go on."""
        self.say(f"Going on with a calibration that has {points} flow points.")
        return True

    def retries(self, reasons: Sequence[str]) -> bool:
        """Never: the reasons end it."""
        return False


class SetLine(Protocol):
    """A simulated line whose states and flow are set by somebody."""

    def bring(self, state: LineState) -> None:
        """Bring the line into a state."""

    def throttle(self, closed: float) -> None:
        """Close a part of the duct's area (0 to 1)."""


class AnswersGuide(_Unattended):
    """A file of answers; the line is brought into its states by others, or simulated.

    Args:
        speech: How things are told.
        answers: The file.
        line: The simulated line, or None.
    """

    def __init__(self, speech: Speech, answers: AnswersFile, line: SetLine | None = None) -> None:
        super().__init__(speech)
        self._answers = answers
        self._line = line

    def conditions(self) -> Conditions:
        """Return those of the file."""
        return self._answers.conditions

    def prepare(self, state: LineState) -> None:
        """Bring a simulated line into the state."""
        self._speech.wants(state)
        if self._line is not None:
            self._line.bring(state)

    def set_flow(self, point: int) -> bool:
        """Throttle a simulated line as the file says."""
        table = self._answers.table(point)
        if table is not None and self._line is not None:
            self._line.bring(LineState.NORMAL)
            self._line.throttle(table.throttle)
        return table is not None

    def flow(self, point: int) -> FlowAnswer:
        """Return what the file says."""
        return self._answers.answer(point)


class SimulatedGuide(_Unattended):
    """Hands at a simulated line: everything is played, for somebody who looks on.

    Args:
        speech: How things are told.
        line: The simulated line.
    """

    def __init__(self, speech: Speech, line: CalibrationLine) -> None:
        super().__init__(speech)
        self._line = line

    def conditions(self) -> Conditions:
        """The air of the simulation."""
        return Conditions(21.0, 50.0)

    def prepare(self, state: LineState) -> None:
        """Do it."""
        self._speech.wants(state)
        self._line.bring(state)

    def set_flow(self, point: int) -> bool:
        """Throttle the line, as often as a demonstration needs."""
        if point > len(THROTTLES):
            return False
        self._line.bring(LineState.NORMAL)
        self._line.throttle(THROTTLES[point - 1])
        return True

    def flow(self, point: int) -> FlowAnswer:
        """Fill the bag."""
        seconds = tuple(
            round(self._line.fill_s(SIMULATED_BAG_L), 1) for _ in range(SIMULATED_FILLS)
        )
        self.say(f"Bag of {SIMULATED_BAG_L:g} L full after {', '.join(map(str, seconds))} s.")
        return FlowAnswer(BagFills(SIMULATED_BAG_L, seconds))
