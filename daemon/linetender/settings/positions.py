"""Where each key of a TOML text stands: the standard parser keeps no positions.

The scanner walks over text that the parser has already accepted, so it need not
judge it; it only has to know where keys, strings and brackets end.
"""

from bisect import bisect_right

Path = tuple[str | int, ...]
"""Keys from the root; an int counts the entries of an array from 0."""


def positions(text: str) -> dict[Path, int]:
    """Map every key path of a valid TOML text to its line, counted from 1."""
    scanner = _Scanner(text.replace("\r\n", "\n"))
    scanner.scan()
    return scanner.found


def line_of(found: dict[Path, int], path: Path) -> int | None:
    """Return the line of a path, or of the nearest table around it that stands in the file."""
    for length in range(len(path), 0, -1):
        if path[:length] in found:
            return found[path[:length]]
    return None


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.found: dict[Path, int] = {}
        self._starts = [0] + [i + 1 for i, letter in enumerate(text) if letter == "\n"]
        self._entries: dict[Path, int] = {}

    def scan(self) -> None:
        table: Path = ()
        while self._skip_blank():
            if self.text.startswith("[[", self.at):
                table = self._array_header()
            elif self.text[self.at] == "[":
                self.at += 1
                table = self._resolved(self._key_path())
                self._record(table)
                self.at += 1
            else:
                self._pair(table)

    def _array_header(self) -> Path:
        self.at += 2
        path = self._resolved(self._key_path(), whole=False)
        self._record(path)
        entry = self._entries.get(path, -1) + 1
        self._entries[path] = entry
        table = (*path, entry)
        self.found[table] = self._line()
        self.at += 2
        return table

    def _resolved(self, keys: Path, whole: bool = True) -> Path:
        """Insert into a header's keys the number of the present entry of each array of tables."""
        path: Path = ()
        for place, key in enumerate(keys, start=1):
            path = (*path, key)
            if path in self._entries and (whole or place < len(keys)):
                path = (*path, self._entries[path])
        return path

    def _pair(self, table: Path) -> None:
        line = self._line()
        keys = self._key_path()
        path = table
        for key in keys:
            path = (*path, key)
            self.found.setdefault(path, line)
        self.at += 1  # the equals sign
        self._value(path)

    def _key_path(self) -> Path:
        keys: list[str] = []
        while True:
            self._skip_spaces()
            keys.append(self._key())
            self._skip_spaces()
            if self._letter() != ".":
                return tuple(keys)
            self.at += 1

    def _key(self) -> str:
        start = self.at
        quote = self._letter()
        if quote in ("'", '"'):
            self._string()
            inner = self.text[start + 1 : self.at - 1]
            return _unescaped(inner) if quote == '"' else inner
        while self._letter() not in ("", ".", "=", "]", " ", "\t"):
            self.at += 1
        return self.text[start : self.at]

    def _value(self, path: Path) -> None:
        self._skip_spaces()
        letter = self._letter()
        if letter in ("'", '"'):
            self._string()
        elif letter == "[":
            self._array(path)
        elif letter == "{":
            self._inline_table(path)
        else:
            while self._letter() not in ("", ",", "]", "}", "\n", "#"):
                self.at += 1

    def _array(self, path: Path) -> None:
        self.at += 1
        entry = 0
        while self._skip_blank() and self._letter() != "]":
            if self._letter() == ",":
                self.at += 1
                continue
            self.found[(*path, entry)] = self._line()
            self._value((*path, entry))
            entry += 1
        self.at += 1

    def _inline_table(self, path: Path) -> None:
        self.at += 1
        while self._skip_blank() and self._letter() != "}":
            if self._letter() == ",":
                self.at += 1
                continue
            self._pair(path)
        self.at += 1

    def _string(self) -> None:
        quote = self._letter()
        if self.text.startswith(quote * 3, self.at):
            self.at += 3
            self._until(quote * 3, escapes=quote == '"')
            while self._letter() == quote:  # up to two quotes may stand before the end
                self.at += 1
        else:
            self.at += 1
            self._until(quote, escapes=quote == '"')

    def _until(self, end: str, escapes: bool) -> None:
        while self.at < len(self.text) and not self.text.startswith(end, self.at):
            self.at += 2 if escapes and self.text[self.at] == "\\" else 1
        self.at += len(end)

    def _skip_blank(self) -> bool:
        """Skip spaces, line ends and comments; say whether anything is left."""
        while self._letter() and self._letter() in " \t\n#":
            if self._letter() == "#":
                while self._letter() not in ("", "\n"):
                    self.at += 1
            else:
                self.at += 1
        return self.at < len(self.text)

    def _skip_spaces(self) -> None:
        while self._letter() and self._letter() in " \t":
            self.at += 1

    def _letter(self) -> str:
        return self.text[self.at : self.at + 1]

    def _line(self) -> int:
        return bisect_right(self._starts, self.at)

    def _record(self, path: Path) -> None:
        for length in range(1, len(path) + 1):
            self.found.setdefault(path[:length], self._line())


_SHORT_ESCAPES = {"b": "\b", "t": "\t", "n": "\n", "f": "\f", "r": "\r", '"': '"', "\\": "\\"}


def _unescaped(inner: str) -> str:
    """Undo the escapes of a basic string, as far as keys need it."""
    made: list[str] = []
    at = 0
    while at < len(inner):
        if inner[at] != "\\":
            made.append(inner[at])
            at += 1
        elif inner[at + 1] in "uU":
            digits = 4 if inner[at + 1] == "u" else 8
            made.append(chr(int(inner[at + 2 : at + 2 + digits], 16)))
            at += 2 + digits
        else:
            made.append(_SHORT_ESCAPES.get(inner[at + 1], inner[at + 1]))
            at += 2
    return "".join(made)
