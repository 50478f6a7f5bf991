"""The project's own pages: their fenced blocks, links and headings."""

import re
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from textwrap import dedent
from typing import NamedTuple

CHECKOUT = Path(__file__).resolve().parents[2]
FOLDERS = ("config", "daemon", "drivers", "systemd", "tests")

PAGES = sorted(
    page
    for found in (CHECKOUT.glob("*.md"), *((CHECKOUT / name).rglob("*.md") for name in FOLDERS))
    for page in found
)

COMMAND_LANGUAGES = ("sh", "console")

FENCE = re.compile(
    r"^(?P<indent> *)```(?P<language>\w*)\n(?P<text>.*?)^(?P=indent)```$", re.MULTILINE | re.DOTALL
)
NOTE = re.compile(r"<!-- (?P<kind>not run|run with): (?P<said>[^>]+?) -->\n\Z")
LINK = re.compile(r"\]\((?P<target>[^)\s]+)\)")
HEADING = re.compile(r"^#{1,6} (?P<title>.+)$", re.MULTILINE)


class Block(NamedTuple):
    """One fenced block of a page.

    Attributes:
        page: Where it stands.
        line: Of its first line, from 1.
        language: What stands behind the fence; "" for none.
        text: Its lines.
        not_run: Why the tests do not run it; "" where they do.
        run_with: Names of the files that it needs.
    """

    page: Path
    line: int
    language: str
    text: str
    not_run: str
    run_with: tuple[str, ...]

    @property
    def name(self) -> str:
        """Where it stands, for people."""
        return f"{self.page.relative_to(CHECKOUT)}:{self.line}"


def blocks(page: Path) -> Iterator[Block]:
    """Give the fenced blocks of a page, in their order.

    A comment in the line before the fence says how the tests take it:
    `not run: REASON` or `run with: NAME, NAME`.
    """
    text = page.read_text(encoding="utf-8")
    for found in FENCE.finditer(text):
        before = text[: found.start()]
        note = NOTE.search(before)
        said = note["said"] if note else ""
        kind = note["kind"] if note else ""
        yield Block(
            page,
            before.count("\n") + 2,
            found["language"],
            dedent(found["text"]),
            said if kind == "not run" else "",
            tuple(said.split(", ")) if kind == "run with" else (),
        )


def prose(page: Path) -> str:
    """Return a page without its fenced blocks."""
    return FENCE.sub("", page.read_text(encoding="utf-8"))


def anchors(page: Path) -> set[str]:
    """Return what a link can name in a page, spelled as the usual renderers of Markdown do."""
    found: set[str] = set()
    for heading in HEADING.finditer(prose(page)):
        kept = re.sub(r"[`*]", "", heading["title"]).lower()
        spelled = "".join(
            letter
            for letter in kept
            if letter in " -_" or unicodedata.category(letter)[0] in ("L", "N")
        ).replace(" ", "-")
        found.add(spelled if spelled not in found else f"{spelled}-1")
    return found


def links(page: Path) -> list[str]:
    """Return the targets of a page's links that lead to this project."""
    found = [link["target"] for link in LINK.finditer(prose(page))]
    return [target for target in found if not target.startswith(("http:", "https:"))]
