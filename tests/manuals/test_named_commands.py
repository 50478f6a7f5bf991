"""Every command that a page or a message names can be typed: the verb is there, and so is
each option, whether or not the tests can run the command itself.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer

from linetender.cli.main import app
from manuals.manual_pages import CHECKOUT, COMMAND_LANGUAGES, PAGES, blocks, prose

SPAN = re.compile(r"`([^`]+)`")
COMMAND = re.compile(
    r"(?:^|[\s/])linetender (?P<verb>(?!linetender )[a-z][a-z-]*)(?P<rest>[^|&#;`]*)"
)
OPTION = re.compile(r"(?<![\w-])--[a-z][a-z-]*")
IN_A_MESSAGE = re.compile(
    r"\blinetender (?P<verb>[a-z][a-z-]*)(?P<rest>[^.;:`()]*? --[a-z][a-z-]+)"
)

VERBS: dict[str, Any] = vars(typer.main.get_command(app))["commands"]
SOURCES = sorted((CHECKOUT / "daemon").rglob("*.py"))


def options(command: Any) -> set[str]:
    """Return the options of a verb, and of the commands that it has."""
    found = {name for parameter in command.params for name in parameter.opts} | {"--help"}
    for inner in getattr(command, "commands", {}).values():
        found |= options(inner)
    return found


def unknown(verb: str, rest: str) -> list[str]:
    """Return what of a command cannot be typed: the verb, or some of its options."""
    if verb not in VERBS:
        return [verb]
    known = options(VERBS[verb])
    return [f"{verb} {name}" for name in OPTION.findall(rest) if name not in known]


def texts_of(page: Path) -> Iterator[str]:
    """Give the code of a page: spans, and lines of blocks of commands."""
    yield from (span.replace("\n", " ") for span in SPAN.findall(prose(page)))
    for block in blocks(page):
        if block.language in COMMAND_LANGUAGES:
            yield from block.text.splitlines()


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(CHECKOUT)))
def test_every_command_of_a_page_can_be_typed(page: Path) -> None:
    found = [found for text in texts_of(page) for found in COMMAND.finditer(text)]
    assert [fault for one in found for fault in unknown(one["verb"], one["rest"])] == []


def test_every_command_with_an_option_in_a_message_can_be_typed() -> None:
    found, faults = 0, []
    for source in SOURCES:
        for node in ast.walk(ast.parse(source.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                for one in IN_A_MESSAGE.finditer(node.value):
                    found += 1
                    faults += [f"{source}: {fault}" for fault in unknown(one["verb"], one["rest"])]
    assert found > 10
    assert faults == []


def test_what_cannot_be_typed_is_found() -> None:
    assert unknown("lint", " FILE --json --jsn") == ["lint --jsn"]
    assert unknown("limt", " FILE") == ["limt"]
