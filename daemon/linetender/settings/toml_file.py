"""Read a TOML file; whatever is wrong with it becomes one clear Problem."""

import re
import stat
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from linetender.settings.positions import Path as KeyPath
from linetender.settings.positions import line_of, positions
from linetender.settings.problems import Problem, StationFileError, shown_value

LARGEST_BYTES = 1_000_000
"""No file that a person wrote is larger (chosen)."""

_NAMES_A_SECRET = re.compile("passw|secret|token|credential", re.IGNORECASE)
_OPEN_IN_BROKER = frozenset({"host", "port", "tls", "commands", "discovery_prefix"})
"""What else stands in `[broker]` is private, or a password that somebody put there."""


@dataclass(frozen=True)
class TomlFile:
    """A parsed file with the lines of its keys.

    Attributes:
        file: Path as it was given.
        data: What the parser made of it.
        lines: Line of each key path.
    """

    file: str
    data: dict[str, Any]
    lines: dict[KeyPath, int]

    def problem(self, path: KeyPath, expected: str, remedy: str, value: object = None) -> Problem:
        """Make a Problem about a key; None, whole tables and what may be a secret are not shown."""
        hidden = value is None or isinstance(value, dict) or _may_be_secret(path)
        shown = "" if hidden else shown_value(value)
        return Problem(self.file, self.line(path), dotted(path), shown, expected, remedy)

    def line(self, path: KeyPath) -> int | None:
        """Return the line of a key, or of the nearest table around it."""
        return line_of(self.lines, path)

    def at(self, path: KeyPath) -> Any:
        """Return what stands at a path, or None."""
        here: Any = self.data
        for step in path:
            if isinstance(here, dict) and step in here:
                here = here[step]
            elif isinstance(here, list) and isinstance(step, int) and step < len(here):
                here = here[step]
            else:
                return None
        return here


def _may_be_secret(path: KeyPath) -> bool:
    """Say whether what stands there is not for a terminal or a journal."""
    in_broker = path[:1] == ("broker",) and (len(path) < 2 or path[1] not in _OPEN_IN_BROKER)
    return in_broker or any(isinstance(step, str) and _NAMES_A_SECRET.search(step) for step in path)


def dotted(path: KeyPath) -> str:
    """Write a key path as people do: `far_end[0].name`."""
    text = ""
    for step in path:
        if isinstance(step, int):
            text += f"[{step}]"
        else:
            key = step if re.fullmatch(r"[\w-]+", step) else shown_value(step)
            text += f".{key}" if text else key
    return text


def read_toml(path: Path) -> TomlFile:
    """Read and parse a file.

    Raises:
        StationFileError: it is missing, not a file, unreadable, too large, not UTF-8,
            or not TOML; one Problem says which and where.
    """
    text = _read_text(path)
    try:
        data = tomllib.loads(text)
        return TomlFile(str(path), data, positions(text))
    except RecursionError as error:
        expected, remedy = "brackets are nested too deeply", "write plain tables"
        raise StationFileError([Problem(str(path), None, "", "", expected, remedy)]) from error
    except ValueError as error:  # TOMLDecodeError, and integers that Python will not convert
        raise StationFileError([_garbled(path, text, str(error))]) from error


def _read_text(path: Path) -> str:
    raw = _read_bytes(path)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise _refused(
            path, "text in UTF-8 was expected", "save the file as UTF-8", line
        ) from error


def _read_bytes(path: Path) -> bytes:
    try:
        fault = _fault_of_kind(path)
        if not fault:
            return path.read_bytes()
    except FileNotFoundError as error:
        remedy = "check the path and the working directory"
        raise _refused(path, "there is no such file", remedy) from error
    except (OSError, ValueError) as error:  # ValueError: a path with a NUL in it
        reason = getattr(error, "strerror", None) or str(error)
        remedy = "check its permissions and the disk"
        raise _refused(path, f"the file cannot be read ({reason})", remedy) from error
    raise _refused(path, fault, "name a .toml file")


def _fault_of_kind(path: Path) -> str:
    """Say why a path should not even be opened, or nothing."""
    found = path.stat()
    if stat.S_ISDIR(found.st_mode):
        return "this is a directory, a file was expected"
    if not stat.S_ISREG(found.st_mode):
        return "this is not a plain file"
    if found.st_size > LARGEST_BYTES:
        return f"the file is larger than {LARGEST_BYTES} bytes, no station file is"
    return ""


def _refused(path: Path, expected: str, remedy: str, line: int | None = None) -> StationFileError:
    return StationFileError([Problem(str(path), line, "", "", expected, remedy)])


def _garbled(path: Path, text: str, message: str) -> Problem:
    found = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)", message)
    line = None
    if found:
        line = int(found[1]) if found[1] else text.count("\n") + 1
        message = message[: found.start()]
    return Problem(
        str(path),
        line,
        "",
        "",
        f"this is not valid TOML ({message.rstrip('.')})",
        "mend that line; a file that was cut short ends like this too",
    )
