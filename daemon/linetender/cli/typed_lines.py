"""Lines that a person types, awaited no longer than asked for.

Not through `sys.stdin`: what it has read ahead would not show in `select`.
"""

import os
import select


class TypedLines:
    """Reads lines from a file descriptor; use one for the whole conversation.

    Args:
        descriptor: Open for reading: a terminal or a pipe.
    """

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor
        self._read = b""
        self._ended = False

    def take(self, within_s: float | None) -> str | None:
        """Return the next line without its break, or None if none came in time.

        Args:
            within_s: How long to wait (s); None: until there is one.

        Raises:
            EOFError: nobody types any more.
        """
        while b"\n" not in self._read:
            if self._ended:
                if not self._read:
                    raise EOFError("nothing more is typed")
                self._read += b"\n"
                break
            if not select.select([self._descriptor], [], [], within_s)[0]:
                return None
            data = os.read(self._descriptor, 4096)
            self._ended = not data
            self._read += data
        line, _, self._read = self._read.partition(b"\n")
        return line.decode(errors="replace").strip()
