"""Writes what a report or an export gives: for the owner alone, whole or not at all."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from linetender.recording.disk_file import MODE
from linetender.recording.errors import Fault, RecordingError


@contextmanager
def new_file(path: Path, *, replaces: bool) -> Iterator[BinaryIO]:
    """Open a file of mode 0600 for writing; it gets its name once all is written.

    Args:
        path: Where.
        replaces: Whether a file of that name may be replaced.

    Raises:
        RecordingError: there is one, and it may not; or the disk refuses. A file that
            was there is untouched.
    """
    expect_new(path, replaces=replaces)
    temporary = path.with_name(f".{path.name}.{os.getpid()}.new")
    try:
        descriptor = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL, MODE)
        with os.fdopen(descriptor, "wb") as file:
            yield file
        if replaces:
            temporary.replace(path)
        else:
            os.link(temporary, path)
    except FileExistsError as error:
        raise _exists(path) from error
    except OSError as error:
        raise RecordingError(
            Fault.UNWRITABLE,
            path,
            f"the file cannot be written: {(error.strerror or str(error)).lower()}",
            "Name one in a folder that exists and that you may write to (--out)",
        ) from error
    finally:
        temporary.unlink(missing_ok=True)


def expect_new(path: Path, *, replaces: bool) -> None:
    """Refuse a file that is there already, before any work is done.

    Raises:
        RecordingError: it is there, and may not be replaced.
    """
    if not replaces and path.exists():
        raise _exists(path)


def _exists(path: Path) -> RecordingError:
    return RecordingError(
        Fault.EXISTS,
        path,
        "there is a file of this name already",
        "Name another one with --out, or replace it with --force",
    )
