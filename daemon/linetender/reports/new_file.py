"""Writes what a report gives: for the owner alone, whole or not at all."""

import os
from pathlib import Path

from linetender.recording.disk_file import MODE


class FileExists(Exception):
    """There is a file of that name, and it is not to be replaced."""

    def __init__(self, path: Path) -> None:
        super().__init__(
            f"{path}: there is a file of this name already. "
            "Name another one with --out, or replace it with --force"
        )
        self.path = path


def write_new(path: Path, content: bytes, *, replaces: bool) -> None:
    """Write a file of mode 0600: reports and tables hold health data.

    Args:
        path: Where.
        content: All of it.
        replaces: Whether a file of that name may be replaced.

    Raises:
        FileExists: there is one, and it may not.
        OSError: the disk refuses; a file that was there is untouched.
    """
    expect_new(path, replaces=replaces)
    temporary = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        descriptor = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, MODE)
        with os.fdopen(descriptor, "wb") as file:
            file.write(content)
        if replaces:
            temporary.replace(path)
        else:
            os.link(temporary, path)
            temporary.unlink()
    except FileExistsError as error:
        temporary.unlink(missing_ok=True)
        raise FileExists(path) from error
    except OSError:
        temporary.unlink(missing_ok=True)
        raise


def expect_new(path: Path, *, replaces: bool) -> None:
    """Refuse a file that is there already, before any work is done.

    Raises:
        FileExists: it is there, and may not be replaced.
    """
    if not replaces and path.exists():
        raise FileExists(path)
