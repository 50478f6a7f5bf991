"""Break lines for people where the terminal ends."""

import re
import shutil
from textwrap import wrap

WIDEST_COLUMNS = 100
"""Longer lines are hard to read, however wide the terminal (chosen)."""

NARROWEST_COLUMNS = 40


def text_of(lines: list[str]) -> str:
    """Break lines at the width of the terminal, 80 where there is none."""
    columns = min(shutil.get_terminal_size((80, 24)).columns, WIDEST_COLUMNS)
    return "\n".join(broken for line in lines for broken in broken_at(line, columns))


def broken_at(line: str, columns: int) -> list[str]:
    """Break one line; what follows is indented further, and no unit leaves its number."""
    indent = " " * (len(line) - len(line.lstrip()))
    hanging = indent + "  "
    whole = re.sub(r"(?<=\d) (?=(s|L|L/min|Pa|%)\b|%)", "\N{NO-BREAK SPACE}", line.lstrip())
    broken = wrap(
        whole,
        max(columns, NARROWEST_COLUMNS),
        initial_indent=indent,
        subsequent_indent=hanging,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [part.replace("\N{NO-BREAK SPACE}", " ") for part in broken]
