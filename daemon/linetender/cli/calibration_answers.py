"""The file of answers for a calibration without a person at the terminal."""

from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, ValidationError

from linetender.runtime.calibration_guide import BagFills, Conditions, FlowAnswer, Traverse
from linetender.settings.explain import explain
from linetender.settings.problems import StationFileError
from linetender.settings.strict_model import StrictModel
from linetender.settings.toml_file import read_toml

_ONE_METHOD = "give volume_l and seconds, or diameter_mm and velocities_m_s, not both"


class FlowTable(StrictModel):
    """`[[point]]` or `[[check]]`: one setting of the line, by bag or by traverse."""

    volume_l: float | None = Field(None, ge=1, le=5000, description="volume of the bag, litres")
    seconds: Annotated[tuple[float, ...], Field(strict=False)] = Field(
        (), max_length=20, description="list of the seconds of each fill"
    )
    volume_uncertainty_percent: float = Field(
        3.0, ge=0.1, le=20, description="standard uncertainty of the bag's volume, %"
    )
    diameter_mm: float | None = Field(
        None, ge=20, le=1000, description="inside diameter of the duct, mm"
    )
    velocities_m_s: Annotated[tuple[float, ...], Field(strict=False)] = Field(
        (), max_length=60, description="list of velocities, 6, 8 or 10 on each diameter, m/s"
    )
    anemometer_uncertainty_percent: float = Field(
        5.0, ge=0.1, le=30, description="standard uncertainty of the anemometer, %"
    )
    throttle: float = Field(
        0.0, ge=0, le=0.95, description="with --simulate: closed part of the duct, 0 to 0.95"
    )

    @property
    def is_one_method(self) -> bool:
        """Whether it tells of a bag or of a traverse, and not of both or neither."""
        is_bag = self.volume_l is not None and bool(self.seconds)
        is_traverse = self.diameter_mm is not None and bool(self.velocities_m_s)
        return is_bag != is_traverse

    def answer(self, *, is_check: bool) -> FlowAnswer:
        """Return it as the procedure wants it."""
        if self.volume_l is not None:
            relative = self.volume_uncertainty_percent / 100.0
            return FlowAnswer(BagFills(self.volume_l, self.seconds, relative), is_check)
        relative = self.anemometer_uncertainty_percent / 100.0
        diameter_mm = self.diameter_mm or 0.0
        return FlowAnswer(Traverse(diameter_mm, self.velocities_m_s, relative), is_check)


class AnswersFile(StrictModel):
    """The whole file."""

    schema_: Literal[1] = Field(alias="schema", description="version of the file's form: 1")
    temperature_c: float = Field(20.0, ge=-30, le=50, description="air temperature, °C")
    humidity_percent: float = Field(50.0, ge=0, le=100, description="relative humidity, %")
    point: Annotated[tuple[FlowTable, ...], Field(strict=False)] = Field(
        (), max_length=40, description="tables [[point]]"
    )
    check: Annotated[tuple[FlowTable, ...], Field(strict=False)] = Field(
        (), max_length=40, description="tables [[check]], measured by a second method"
    )

    @property
    def conditions(self) -> Conditions:
        """The air."""
        return Conditions(self.temperature_c, self.humidity_percent)

    def table(self, number: int) -> FlowTable | None:
        """Return the table of a setting, counted from 1; None after the last."""
        tables = (*self.point, *self.check)
        return tables[number - 1] if number <= len(tables) else None

    def answer(self, number: int) -> FlowAnswer:
        """Return what was measured at a setting, counted from 1."""
        tables = (*self.point, *self.check)
        return tables[number - 1].answer(is_check=number > len(self.point))


def load_answers(path: Path) -> AnswersFile:
    """Load a file of answers.

    Raises:
        StationFileError: it is missing or not in order; each problem says what to do.
    """
    toml = read_toml(path)
    try:
        answers = AnswersFile.model_validate(toml.data)
    except ValidationError as error:
        raise StationFileError(explain(error, AnswersFile, toml)) from error
    problems = [
        toml.problem((name, place), "one way of measuring was expected", _ONE_METHOD)
        for name, tables in (("point", answers.point), ("check", answers.check))
        for place, table in enumerate(tables)
        if not table.is_one_method
    ]
    if problems:
        raise StationFileError(problems)
    return answers
