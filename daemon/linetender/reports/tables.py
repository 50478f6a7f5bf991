"""Tables of a page: each readable row by row on a narrow one, and by a screen reader."""

import re
from collections.abc import Iterable, Sequence
from html import escape
from typing import NamedTuple

_DAY = re.compile(r"\b\d{4}-\d\d-\d\d\b")


class Column(NamedTuple):
    """A column: its heading, and whether it holds numbers."""

    name: str
    is_number: bool = False


class Html(str):
    """Text that is HTML already."""

    __slots__ = ()


def table(caption: str, columns: Sequence[Column], rows: Iterable[Sequence[str]]) -> str:
    """Return a table; the first cell of a row is its heading. Cells are text, or `Html`."""
    heads = "".join(
        f'<th scope="col"{_kind(column)}>{escape(column.name)}</th>' for column in columns
    )
    body = "".join(f"<tr>{_row(columns, row)}</tr>\n" for row in rows)
    return (
        f'<div class="wide-table"><table class="stack"><caption>{escape(caption)}</caption>'
        f"<thead><tr>{heads}</tr></thead>\n<tbody>{body}</tbody></table></div>\n"
    )


def listed(items: Iterable[str], tag: str = "ul") -> str:
    """Return a list."""
    return f"<{tag}>" + "".join(f"<li>{_cell(item)}</li>\n" for item in items) + f"</{tag}>\n"


def _row(columns: Sequence[Column], row: Sequence[str]) -> str:
    cells = []
    for place, (column, text) in enumerate(zip(columns, row, strict=True)):
        name = f' data-name="{escape(column.name, quote=True)}"'
        if place == 0:
            cells.append(f'<th scope="row"{_kind(column)}{name}>{_cell(text)}</th>')
        else:
            cells.append(f"<td{_kind(column)}{name}>{_cell(text)}</td>")
    return "".join(cells)


def _kind(column: Column) -> str:
    return ' class="number"' if column.is_number else ""


def _cell(text: str) -> str:
    """Return a text as HTML; no day is broken at its hyphens."""
    if isinstance(text, Html):
        return text
    return _DAY.sub(r'<span class="day">\g<0></span>', escape(text))
