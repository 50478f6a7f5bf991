"""The verb `init`: ask, look what is there, and write a station file."""

import getpass
import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

import typer

from linetender.cli.exit_codes import ExitCode
from linetender.cli.init_answers import Answers, Refused, accepted, from_file, is_due
from linetender.cli.init_file import station_text
from linetender.cli.init_questions import (
    NONE,
    OPEN_HOOD,
    QUESTIONS,
    TEACH,
    UNITS,
    Kind,
    Question,
)
from linetender.cli.init_search import Choice, look_around
from linetender.cli.init_sensors import sensor_lines
from linetender.cli.line_breaks import text_of
from linetender.settings.load import load_station
from linetender.settings.problems import Problem, StationFileError

_OUT = typer.Option("--out", metavar="FILE", help="Write here; never over an existing file.")
_MINIMAL = typer.Option("--minimal", help="Sensor, siren, button, lamp: at most ten answers.")
_ANSWERS = typer.Option("--answers", metavar="FILE", help="Ask nothing; take answers from here.")
_PRINT = typer.Option("--print-questions", help="Print all questions and end.")
_BUS = typer.Option("--bus", metavar="NODE", help="Search this bus; simulated:DIR is a world.")
_NO_SEARCH = typer.Option("--no-search", help="Search no bus and no radio.")


def init(
    out: Annotated[Path, _OUT] = Path("station.toml"),
    minimal: Annotated[bool, _MINIMAL] = False,
    answers: Annotated[Path | None, _ANSWERS] = None,
    print_questions: Annotated[bool, _PRINT] = False,
    bus: Annotated[str | None, _BUS] = None,
    no_search: Annotated[bool, _NO_SEARCH] = False,
) -> None:
    """Ask about your line in plain words, and write its station file.

    An empty answer takes what stands in brackets. A quantity may have its unit: 4 in,
    200 cfm, 12 ft, 0.4 inH2O. A broker's password goes into a file of its own beside.

    Exit status: 0 written, 1 stopped and nothing written, 2 usage, 3 a file is there
    already or the answers are refused, 4 no world is served there.

    Example: linetender init --minimal

    Example: linetender init --answers answers.toml --out shed.toml
    """
    if print_questions:
        typer.echo("\n".join(_listed(minimal=minimal)))
        return
    _refuse_existing(out)
    choice = look_around(bus, out, search=not no_search, minimal=minimal)
    typer.echo(text_of(list(choice.told)))
    secret = out.with_suffix(".password")

    def is_too_far(given: Answers) -> bool:
        return bool(_advice(_text(given, choice, secret)))

    if answers is None:
        given = _asked(choice, is_too_far, minimal=minimal)
    else:
        given = from_file(
            answers, choice.sensors, minimal=minimal, place=choice.place, is_too_far=is_too_far
        )
    _advice(text := _text(given, choice, secret))
    _write(out, text, secret, given.get("broker_password"))
    _tell(out, secret, given)


def _question(name: str) -> Question:
    return next(question for question in QUESTIONS if question.name == name)


def _listed(*, minimal: bool) -> list[str]:
    lines = []
    for question in QUESTIONS:
        if minimal and not question.minimal:
            continue
        lines.append(text_of([f"{question.name}: {question.words}{_expected(question)}"]))
        if question.after is not None:
            earlier, wanted = question.after
            lines.append(f"  asked if {earlier} is {wanted or 'not none'}")
        if question.default is not None:
            lines.append(f"  default: {question.default}")
    return lines


def _expected(question: Question) -> str:
    words = [" or ".join(unit for unit in UNITS.get(question.kind, {}) if unit)]
    # What an empty line answers stands in the prompt; a choice between some shows them all.
    if question.choices != (question.default,):
        words += question.choices
    told = ", ".join(word for word in words if word)
    return f" ({told})" if told else ""


def _asked(choice: Choice, is_too_far: Callable[[Answers], bool], *, minimal: bool) -> Answers:
    """Ask all that is due; a person who stops ends the program."""
    given: Answers | None = Answers()
    for question in QUESTIONS:
        if given is not None and is_due(question, given, minimal=minimal):
            given = _ask_into(given, question, choice)
    if given is not None and is_too_far(given):
        given = _ask_into(given, _question(OPEN_HOOD), choice)
    if given is None:
        typer.echo("\nStopped. Nothing was written.", err=True)
        raise typer.Exit(ExitCode.FINDINGS)
    return given


def _ask_into(given: Answers, question: Question, choice: Choice) -> Answers | None:
    """Ask one question until its answer can be taken; None at the end of input or Ctrl-C."""
    default, options = question.default, list[str]()
    if question.kind is Kind.SENSOR:
        default = next(iter(choice.sensors))
        options = sensor_lines(choice.sensors)
    elif question.kind is Kind.OXIMETER and choice.oximeters:
        default = next(iter(choice.oximeters))
    typer.echo()
    typer.echo(text_of([f"{question.words}{_expected(question)}", *options]))
    while True:
        try:
            text = _line(f"  [{default}] > " if default else "  > ", question)
        except (EOFError, KeyboardInterrupt):
            return None
        try:
            taken = accepted(question, text or default or "", given, choice.sensors, choice.place)
        except Refused as error:
            typer.echo(text_of([f"  Not taken: {error}."]))
        else:
            return {**given, question.name: taken}


def _line(prompt: str, question: Question) -> str:
    if question.kind is Kind.SECRET and sys.stdin.isatty():
        return getpass.getpass(prompt).strip()
    typer.echo(prompt, nl=False)
    line = sys.stdin.readline()
    if not line:
        raise EOFError
    if not sys.stdin.isatty():  # what is piped in shows as if it had been typed
        typer.echo("*" if question.kind is Kind.SECRET else line.strip())
    return line.strip()


def _text(given: Answers, choice: Choice, secret: Path) -> str:
    return station_text(
        given, choice.sensors[given["sensor"]], choice.bus, choice.chip, secret.name
    )


def _advice(text: str) -> tuple[Problem, ...]:
    """Judge a file before it is written; what teaching will mend is no objection.

    Returns:
        What stops nothing, but wants a reason.

    Raises:
        StationFileError: the file would be refused.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "station.toml"
        taught = text.replace("\n# normal_pa is left out", "\nnormal_pa = 100\n#")
        path.write_text(taught, encoding="utf-8")
        return load_station(path).advice


def _refuse_existing(path: Path) -> None:
    if path.exists() or path.is_symlink():
        remedy = "name another with --out, or move it away first"
        expected = "this file is there already, and init writes over nothing"
        raise StationFileError([Problem(str(path), None, "", "", expected, remedy)])
    if not path.parent.is_dir():
        expected, remedy = "there is no such folder to write into", "make it, or name another"
        raise StationFileError([Problem(str(path.parent), None, "", "", expected, remedy)])


def _write(out: Path, text: str, secret: Path, password: str | None) -> None:
    """Write whole files or none; neither over an existing one."""
    if password is None:
        _place(out, text, 0o644)
        return
    _place(secret, f"{password}\n", 0o600)
    try:
        _place(out, text, 0o644)
    except BaseException:
        secret.unlink()
        raise


def _place(path: Path, text: str, mode: int) -> None:
    """Write beside, then link into place: a link is never made over an existing file."""
    number, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(number, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(name, mode)
        try:
            os.link(name, path)
        except FileExistsError:
            _refuse_existing(path)
    finally:
        os.unlink(name)


def _tell(out: Path, secret: Path, given: Answers) -> None:
    lines = [f"Written: {out}"]
    if "broker_password" in given:
        lines.append(f"Written: {secret}, which only you can read.")
    if given["normal_pressure"] == TEACH:
        lines += [
            "Its normal pressure is still to be measured; until then lint says so.",
            "",
            f"Next: linetender calibrate {out} --teach",
        ]
    else:
        lines += ["", f"Next: linetender lint {out}"]
    if given.get("line", NONE) == "yes":
        lines[-1] = f"Next: linetender size {out}"
    typer.echo("\n" + "\n".join(lines))
