"""Sockets in folders of any depth: the kernel takes no path of over 107 bytes."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def short_path(path: Path) -> Iterator[str]:
    """Give another, short name of a socket, good while the context lasts.

    Raises:
        OSError: its folder is not there, or out of reach.
    """
    folder = os.open(path.parent, os.O_PATH | os.O_DIRECTORY)
    try:
        yield f"/proc/self/fd/{folder}/{path.name}"
    finally:
        os.close(folder)
