"""Scenario files: what befalls a simulated station and its wearer, and what must be told of it.

A scenario is data: a TOML file with its steps, and its truth beside them. The truth is
known, since whoever writes the file makes the hazard.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, ValidationError

from linetender.core.stages import Priority
from linetender.settings.explain import explain
from linetender.settings.problems import Problem, StationFileError
from linetender.settings.strict_model import AnyPriority, Sentence, Slug, StrictModel
from linetender.settings.toml_file import TomlFile, read_toml
from linetender.simulation.knobs import Knob, fault_of_turn
from linetender.simulation.line import LineFigures
from linetender.simulation.script import (
    Action,
    Button,
    End,
    Order,
    PowerCut,
    Script,
    Step,
    Tap,
    Turn,
    at,
)

WORN_FROM_S = 10.0
"""With the opening `worn` the fan starts at 0 s, and at this instant the hood goes on."""

DEEDS = ("set", "press", "order", "cut_power_s")

Instant = Annotated[float, Field(ge=0.0, le=86_400.0)]


class StepTable(StrictModel):
    """`[[step]]`: one deed, whichever of `set`, `press`, `order`, `cut_power_s` is given.

    With `when_heard` it waits until the sounder begins.
    """

    at_s: Instant
    set: Annotated[Knob, Field(strict=False)] | None = None
    to: float = 0.0
    over_s: float = 0.0
    press: Slug | None = None
    held_s: Annotated[float, Field(gt=0.0, le=60.0)] = 0.3
    order: Annotated[Order, Field(strict=False)] | None = None
    cut_power_s: Annotated[float, Field(gt=0.0, le=3600.0)] | None = None
    when_heard: bool = False

    def steps(self) -> tuple[Step, ...]:
        """Return the script's steps."""
        actions: list[tuple[float, Action]] = []
        if self.set is not None:
            actions.append((self.at_s, Turn(self.set, self.to, self.over_s)))
        if self.press is not None and self.when_heard:
            actions.append((self.at_s, Tap(self.press, self.held_s)))
        elif self.press is not None:
            actions.append((self.at_s, Button(self.press, pressed=True)))
            actions.append((self.at_s + self.held_s, Button(self.press, pressed=False)))
        if self.order is not None:
            actions.append((self.at_s, self.order))
        if self.cut_power_s is not None:
            actions.append((self.at_s, PowerCut(self.cut_power_s)))
        return tuple(at(seconds, action, when_heard=self.when_heard) for seconds, action in actions)


class ExpectTable(StrictModel):
    """`[[expect]]`: an alarm that must sound, and by when."""

    rule: Slug
    priority: AnyPriority
    within_s: Annotated[float, Field(gt=0.0, le=3600.0)]
    from_s: Instant | None = None


class ScenarioFile(StrictModel):
    """A whole scenario file."""

    schema_: Literal[1] = Field(alias="schema")
    title: Sentence
    station: Literal[
        "demo",
        "wearer_side",
        "minimal",
        "calibrated",
        "gases",
        "broker",
        "fan_side",
        "tachometer",
    ]
    opening: Literal["worn", "none"]
    end_s: Annotated[float, Field(gt=0.0, le=86_400.0)]
    hazard: Sentence | None = None
    hazard_s: Instant | None = None
    unseen: Sentence | None = None
    step: Annotated[tuple[StepTable, ...], Field(strict=False)] = ()
    expect: Annotated[tuple[ExpectTable, ...], Field(strict=False)] = ()
    may_sound: Annotated[tuple[Slug, ...], Field(strict=False)] = ()


@dataclass(frozen=True)
class Expected:
    """An alarm that must sound.

    Attributes:
        rule: Id of the rule.
        priority: With which priority at least.
        from_s: Not before this instant (s).
        by_s: And by this one (s).
    """

    rule: str
    priority: Priority
    from_s: float
    by_s: float


@dataclass(frozen=True)
class Scenario:
    """One scenario, checked.

    Attributes:
        name: Of its file.
        title: What happens, in a sentence.
        station: Name of the station file that it is played on.
        script: What the hands do.
        hazard: What the hazard is, or None: then nothing may sound that is not expected.
        hazard_s: When it begins (s), or None.
        unseen: Why the tool cannot see the hazard, where it cannot.
        expected: What must sound.
        may_sound: Rules that may sound besides; any other is a failure.
    """

    name: str
    title: str
    station: str
    script: Script
    hazard: str | None
    hazard_s: float | None
    unseen: str | None
    expected: tuple[Expected, ...]
    may_sound: frozenset[str]

    @property
    def figures(self) -> LineFigures:
        """The line that its station file describes."""
        return LINES.get(self.station, LineFigures())


_BESIDE_THE_FAN = LineFigures(orifice_pa=45.0)

LINES = {"fan_side": _BESIDE_THE_FAN, "tachometer": _BESIDE_THE_FAN}
"""Lines that differ from the usual one, by station."""


def load_scenario(path: Path) -> Scenario:
    """Load a scenario file.

    Raises:
        StationFileError: the file is missing, garbled or not in order; it carries
            every problem found.
    """
    toml = read_toml(path)
    try:
        table = ScenarioFile.model_validate(toml.data)
    except ValidationError as error:
        raise StationFileError(explain(error, ScenarioFile, toml)) from error
    problems = _problems(table, toml)
    if problems:
        raise StationFileError(problems)
    return Scenario(
        name=path.stem,
        title=table.title,
        station=table.station,
        script=_script(table),
        hazard=table.hazard,
        hazard_s=table.hazard_s,
        unseen=table.unseen,
        expected=tuple(_expected(each, table.hazard_s or 0.0) for each in table.expect),
        may_sound=frozenset(table.may_sound),
    )


def _expected(each: ExpectTable, hazard_s: float) -> Expected:
    from_s = hazard_s if each.from_s is None else each.from_s
    return Expected(each.rule, each.priority, from_s, from_s + each.within_s)


def _script(table: ScenarioFile) -> Script:
    steps: list[Step] = []
    if table.opening == "worn":
        steps += [
            at(0.0, Turn(Knob.FAN, 1.0)),
            at(WORN_FROM_S, Turn(Knob.HOOD, 1.0)),
            at(WORN_FROM_S, Order.START),
        ]
    steps += [step for each in table.step for step in each.steps()]
    # A press takes a while, so that its end may lie behind the next step.
    steps.sort(key=lambda step: step.at_ns)
    return Script((*steps, at(table.end_s, End())))


def _problems(table: ScenarioFile, toml: TomlFile) -> list[Problem]:
    problems = []
    if table.opening == "worn" and table.end_s < WORN_FROM_S:
        expected = f"more than the {WORN_FROM_S:g} s were expected at which the hood goes on"
        problems.append(toml.problem(("end_s",), expected, "end later", table.end_s))
    for k, step in enumerate(table.step):
        given = [deed for deed in DEEDS if getattr(step, deed) is not None]
        if len(given) != 1:
            expected = f"one deed was expected: {', '.join(DEEDS)}"
            problems.append(toml.problem(("step", k), expected, "give exactly one of them"))
        if step.at_s + (step.held_s if step.press else 0.0) > table.end_s:
            remedy = "put it earlier, or end later"
            expected = f"a step within the scenario's {table.end_s:g} s was expected"
            problems.append(toml.problem(("step", k, "at_s"), expected, remedy, step.at_s))
        fault = fault_of_turn(step.set, step.to, step.over_s) if step.set else None
        if fault:
            problems.append(toml.problem(("step", k, "to"), fault, "mend the value", step.to))
    if (table.hazard is None) != (table.hazard_s is None):
        expected = "hazard and hazard_s were expected together"
        problems.append(toml.problem(("hazard",), expected, "give both, or neither"))
    if table.unseen is not None and (table.expect or table.hazard is None):
        expected = "a hazard that nothing is expected of was expected with unseen"
        problems.append(toml.problem(("unseen",), expected, "drop unseen, or the expectations"))
    if table.hazard is not None and table.unseen is None and not table.expect:
        expected = "an [[expect]] or unseen was expected with a hazard"
        problems.append(
            toml.problem(("hazard",), expected, "say what must sound, or why nothing can")
        )
    return problems
