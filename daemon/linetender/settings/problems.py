"""What is wrong with a file that a person wrote, said so that they can mend it."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass

LONGEST_VALUE = 60
"""A value longer than this (characters) is cut in messages."""


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong.

    Attributes:
        file: Path of the file as it was given.
        line: Line in it, from 1; None where no line is meant.
        key: Key with its tables, e.g. `station.exit_time_s`; empty for the file itself.
        value: What stands there, as written; empty where nothing does.
        expected: What was expected, with range and unit.
        remedy: What to do.
    """

    file: str
    line: int | None
    key: str
    value: str
    expected: str
    remedy: str

    @property
    def text(self) -> str:
        """The whole message on one line."""
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        what = f"{self.key} = {self.value}" if self.key and self.value else self.key or self.value
        return f"{place}: {what + ' — ' if what else ''}{self.expected}; {self.remedy}"

    def __str__(self) -> str:
        return self.text

    def as_dict(self) -> dict[str, str | int | None]:
        """For programs: the attributes and the text."""
        return {**asdict(self), "text": self.text}


@dataclass(frozen=True)
class Finding(Problem):
    """A station that could be built as written, but would not be safe.

    Attributes:
        name: Id of the finding, by which a station file can grant an exception.
        grantable: Whether an exception can be granted at all.
        refuses: Whether the station does not run unless the exception is granted.
    """

    name: str = ""
    grantable: bool = False
    refuses: bool = True


class StationFileError(ValueError):
    """A station file, or a rule file it names, cannot be used.

    Attributes:
        problems: Everything found, at least one, in the order of the file.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__("\n".join(problem.text for problem in problems))
        self.problems = tuple(problems)

    @property
    def is_only_unsafe(self) -> bool:
        """Whether the file is well formed and only safety findings stand against it."""
        return all(isinstance(problem, Finding) for problem in self.problems)


def shown_value(value: object) -> str:
    """Write a value as TOML would, cut to a readable length."""
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = '"' + "".join(map(_shown_letter, value)) + '"'
    else:
        text = _plain(value)
    return text if len(text) <= LONGEST_VALUE else text[: LONGEST_VALUE - 1] + "…"


def _shown_letter(letter: str) -> str:
    return letter if letter.isprintable() else letter.encode("unicode_escape").decode("ascii")


def _plain(value: object) -> str:
    try:
        return str(value).replace("\n", " ")
    except ValueError:  # Python refuses to print integers of thousands of digits
        return "a number of thousands of digits"
