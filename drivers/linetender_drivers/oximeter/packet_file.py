"""Reads a packet description and says, key by key, what is wrong with it."""

import tomllib
from pathlib import Path

from pydantic import ValidationError

from linetender_drivers.oximeter.packet_description import PacketDescription


class PacketFileError(ValueError):
    """A packet description cannot be used; one line for each thing that is wrong.

    Attributes:
        problems: The lines, each with file, key, value and what was expected.
    """

    def __init__(self, problems: list[str]) -> None:
        super().__init__("\n".join(problems))
        self.problems = problems


def load_packet_description(path: Path) -> PacketDescription:
    """Read and check a packet description.

    Raises:
        PacketFileError: it cannot be read, is no TOML, or does not hold together.
    """
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise PacketFileError([f"{path}: cannot be read: {error}"]) from error
    except tomllib.TOMLDecodeError as error:
        raise PacketFileError([f"{path}: is not TOML: {error}"]) from error
    try:
        return PacketDescription.model_validate(data)
    except ValidationError as error:
        problems = []
        for detail in error.errors(include_url=False):
            # Steps that name a type of a choice, as in frame.length.int, are no keys.
            key = ".".join(str(step) for step in detail["loc"]) or "(whole file)"
            shown = "" if isinstance(detail["input"], dict) else f" = {detail['input']!r}"
            problems.append(f"{path}: {key}{shown}: {detail['msg'].removeprefix('Value error, ')}")
        raise PacketFileError(problems) from error
