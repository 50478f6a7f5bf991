"""Take answers to what `init` asks: which are due, what is refused and why, in which unit."""

import math
import re
from collections.abc import Callable, Collection, Mapping
from pathlib import Path

from linetender.cli.init_questions import (
    NONE,
    OPEN_HOOD,
    QUESTIONS,
    SENSOR,
    UNITS,
    Kind,
    Question,
)
from linetender.settings.problems import Problem, StationFileError
from linetender.settings.strict_model import SLUG_RULE
from linetender.settings.toml_file import TomlFile, read_toml
from linetender_drivers.pressure.hsc_decode import hsc_part

Answers = dict[str, str]
"""Accepted answers by question; quantities as a number in the station file's unit."""

I2C_PINS = (2, 3)
"""Data and clock of the header's I2C bus."""

LAST_PIN = 27
LONGEST_TEXT = 120

_SLUG = re.compile(r"[a-z][a-z0-9_-]{0,31}")
_HOST = re.compile(r"(?:[A-Za-z0-9._-]{1,253}|\[[0-9A-Fa-f:.]+\])(?::[0-9]{1,5})?")
_HOST_RULE = "expected a name or an address, without spaces"
_BOX = re.compile(r"[a-z][a-z0-9_-]{0,31}:(?:wearer|attendant)")
_NAMES_RULE = f"expected names {SLUG_RULE}, with spaces between"
_BOX_RULE = "expected NAME:wearer or NAME:attendant for each box, with spaces between"
_ADDRESS = re.compile(r"[0-9A-F]{2}(:[0-9A-F]{2}){5}|only")
_AMOUNT = re.compile(r"([-+]?[0-9]+(?:\.[0-9]*)?|[-+]?\.[0-9]+)\s*([A-Za-z0-9/]*)")


class Refused(ValueError):
    """An answer cannot be taken; the message says what was expected."""


def is_due(question: Question, so_far: Mapping[str, str], *, minimal: bool) -> bool:
    """Whether a question is asked after the answers so far; the last one is judged elsewhere."""
    if question.name == OPEN_HOOD or (minimal and not question.minimal):
        return False
    if question.after is None:
        return True
    earlier, wanted = question.after
    given = so_far.get(earlier, NONE)
    if earlier == SENSOR:
        given = given.partition("@")[0]
    return given != NONE if wanted is None else given == wanted


def accepted(question: Question, text: str, so_far: Mapping[str, str], sensors: Collection[str],
             place: str | None = None) -> str:  # fmt: skip
    """Return an answer as the station file wants it.

    Args:
        question: What was asked.
        text: What was answered.
        so_far: Earlier answers.
        sensors: Sensors that can be chosen.
        place: The simulated world, whose oximeter can be named.

    Raises:
        Refused: it is not what was asked for.
    """
    if (text := text.strip()) in question.choices:
        return text
    match question.kind:
        case Kind.CHOICE:
            return _one_of(text, question.choices)
        case Kind.SENSOR:
            return _one_of(text, sensors)
        case Kind.NAME:
            return _matching(_SLUG, text, f"expected a name {SLUG_RULE}")
        case Kind.OXIMETER:
            return text if text == place else _oximeter(text)
        case Kind.TEXT | Kind.SECRET:
            return _text(text, int(question.limits[0]))
        case Kind.PART:
            return _part(text.upper())
        case Kind.HOST:
            return _matching(_HOST, text, _HOST_RULE)
        case Kind.NAMES:
            return _names(text.split(), _SLUG, _NAMES_RULE)
        case Kind.BOXES:
            return _names(text.split(), _BOX, _BOX_RULE)
        case Kind.PIN:
            return _pin(question, text, so_far)
    value = _in_file_unit(question, text)
    _check_sizes(question, value, so_far)
    return f"{value:.6g}"


def _either(words: Collection[str]) -> str:
    return " or ".join(words)


def _one_of(text: str, words: Collection[str]) -> str:
    if text not in words:
        raise Refused(f"expected {_either(words)}")
    return text


def _matching(pattern: re.Pattern[str], text: str, expected: str) -> str:
    if not pattern.fullmatch(text):
        raise Refused(expected)
    return text


def _oximeter(text: str) -> str:
    expected = "expected an address as 02:00:5E:10:00:01, or only, or none"
    return text if text == "only" else _matching(_ADDRESS, text.upper(), expected)


def _text(text: str, least: int) -> str:
    if not least <= len(text) <= LONGEST_TEXT or not text.isprintable():
        raise Refused(f"expected {least} to {LONGEST_TEXT} letters on one line")
    return text


def _part(text: str) -> str:
    try:
        hsc_part(text)
    except ValueError as error:
        raise Refused(str(error)) from error
    return text


def _names(words: list[str], pattern: re.Pattern[str], expected: str) -> str:
    names = [word.partition(":")[0] for word in words]
    if not words or not all(pattern.fullmatch(word) for word in words):
        raise Refused(expected)
    if len(set(names)) < len(names):
        raise Refused("each name may be given only once")
    return " ".join(words)


def _pin(question: Question, text: str, so_far: Mapping[str, str]) -> str:
    if not re.fullmatch(r"[0-9]{1,2}", text) or int(text) > LAST_PIN:
        also = "".join(f", or {word}" for word in question.choices)
        raise Refused(f"expected a GPIO number, 0 to {LAST_PIN}{also}")
    pin = str(int(text))
    if int(pin) in I2C_PINS:
        raise Refused(f"GPIO {pin} belongs to the I2C bus of the sensor; take another")
    for name, given in so_far.items():
        if name.endswith("_pin") and given == pin:
            raise Refused(f"GPIO {pin} is taken already, by {name}; take another")
    return pin


def _in_file_unit(question: Question, text: str) -> float:
    units, (least, most) = UNITS[question.kind], question.limits
    own = next(iter(units))
    also = "".join(f", or {word}" for word in question.choices)
    span = f"{least:g} to {most:g} {own}".rstrip()
    others = "".join(f" (or a number with {unit})" for unit in list(units)[1:])
    found = _AMOUNT.fullmatch(text)
    by_letters = {unit.lower(): factor for unit, factor in units.items()}
    if found is None or (found[2] and found[2].lower() not in by_letters):
        raise Refused(f"expected a number, {span}{others}{also}")
    value = float(found[1]) * by_letters[(found[2] or own).lower()]
    if not math.isfinite(value) or not least <= value <= most:
        raise Refused(f"that is {value:.4g} {own}".rstrip() + f"; expected {span}{others}{also}")
    if question.kind is Kind.COUNT and value != int(value):
        raise Refused(f"expected a whole number, {span}")
    return value


def _check_sizes(question: Question, value: float, so_far: Mapping[str, str]) -> None:
    bore_mm = so_far.get("orifice_bore", "0")
    if question.name == "orifice_pipe" and value <= float(bore_mm):
        raise Refused(f"the pipe must be wider than its hole of {bore_mm} mm; measure both")
    if question.name == "sensor_high" and value <= float(so_far.get("sensor_low", "-inf")):
        raise Refused("the upper end must be above the lower one")


def from_file(
    path: Path,
    sensors: Collection[str],
    *,
    minimal: bool,
    place: str | None,
    is_too_far: Callable[[Answers], bool],
) -> Answers:
    """Take all answers from a file whose keys are the questions' names.

    Raises:
        StationFileError: an answer is missing, unknown, not due, or refused; all of them are told.
    """
    toml = read_toml(path)
    answers, problems = Answers(), _unknown(toml)
    for question in QUESTIONS:
        due = is_due(question, answers, minimal=minimal)
        if question.name == OPEN_HOOD and not problems:
            due = is_too_far(answers)
        try:
            taken = _given(question, toml.data.get(question.name), due=due)
            if taken is not None:
                answers[question.name] = accepted(question, taken, answers, sensors, place)
        except Refused as error:
            key, value = (question.name,), toml.data.get(question.name)
            shown = None if question.kind is Kind.SECRET else value
            if question.name != OPEN_HOOD or not problems:
                remedy = "linetender init --print-questions lists them"
                problems.append(toml.problem(key, str(error), remedy, shown))
    if problems:
        raise StationFileError(problems)
    return answers


def _unknown(toml: TomlFile) -> list[Problem]:
    names = [question.name for question in QUESTIONS]
    remedy = f"the questions are {', '.join(names)}"
    keys = [key for key in toml.data if key not in names]
    return [toml.problem((key,), "there is no such question", remedy) for key in keys]


def _given(question: Question, value: object, *, due: bool) -> str | None:
    """Return what the file says; None where nothing is due and nothing is said."""
    if not due:
        if value is not None:
            raise Refused("this is not asked with the other answers; remove it")
        return None
    if value is None:
        raise Refused("this answer is missing")
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise Refused("a number, or text in quotes, was expected")
    return str(value)
