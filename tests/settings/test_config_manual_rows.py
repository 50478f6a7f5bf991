"""Each row of the tables of keys in config/ and drivers/ tells the range and default that hold."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, NamedTuple, get_args, get_origin

import pytest
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from linetender.settings.forward_file import ForwardFile
from linetender.settings.rule_file import RuleSet
from linetender.settings.shipped import shipped
from linetender.settings.sounder_file import SounderFile
from linetender.settings.station_file import StationFile
from linetender_drivers.registry import driver_names, find_spec

DRIVERS_MANUAL = Path(__file__).resolve().parents[2] / "drivers" / "README.md"
NUMBER = re.compile(r"-?(?:0x[0-9A-Fa-f]+|\d+(?:\.\d+)?)")


class Row(NamedTuple):
    """One key as a manual tells of it."""

    key: str
    allowed: str
    default: str


def plain(text: str) -> str:
    """Return a cell with numbers as Python writes them: no true minus, no space in thousands."""
    text = text.replace("\u2212", "-").replace("\u202f", " ").replace("\u00a0", " ")
    return re.sub(r"(?<=\d) (?=\d{3}\b)", "", text)


def rows(manual: str) -> Iterator[Row]:
    """Give the keys of the tables that have columns for key, range, default and reason."""
    for line in manual.splitlines():
        cells = [plain(cell.strip()) for cell in line.split("|")[1:-1]]
        if len(cells) != 4 or "`" not in cells[0]:
            continue
        for span in cells[0].split("`")[1::2]:
            if not span.startswith("["):  # the table that the key stands in
                yield Row(re.split(r"[\s.=]", span)[0], cells[1], cells[2])


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    else:
        inner = get_args(annotation)
        for each in inner[:1] if get_origin(annotation) is Annotated else inner:
            yield from _models(each)


def fields(model: type[BaseModel]) -> Iterator[tuple[str, FieldInfo]]:
    """Give every key that can stand in a file, with what is asked of it."""
    for name, field in model.model_fields.items():
        yield field.alias or name, field
        for inner in _models(field.annotation):
            if inner is not model:
                yield from fields(inner)


def bounds(field: FieldInfo) -> list[float]:
    """Return the least and greatest number that a key takes, where it has both."""
    found = [
        getattr(rule, name)
        for names in (("ge", "gt"), ("le", "lt"))
        for rule in field.metadata
        for name in names
        if getattr(rule, name, None) is not None
    ]
    return [float(bound) for bound in found] if len(found) == 2 else []


def numbers(text: str) -> list[float]:
    """Return the numbers of a cell."""
    return [
        float(int(one, 16)) if "x" in one else float(one) for one in NUMBER.findall(plain(text))
    ]


def tells_range(row: Row, field: FieldInfo) -> bool:
    """Whether least and greatest stand in the cell, one after the other."""
    told, wanted = numbers(row.allowed), bounds(field)
    return not wanted or any(told[at : at + 2] == wanted for at in range(len(told)))


def tells_default(row: Row, field: FieldInfo) -> bool:
    """Whether a cell that begins with a number has the default that holds.

    A row of several keys has their defaults side by side.
    """
    if not NUMBER.match(row.default):
        return True
    return float(field.default or 0) in numbers(row.default)


STATION_ROWS = list(rows(shipped("config/README.md").read_text(encoding="utf-8")))


@pytest.mark.parametrize("row", STATION_ROWS, ids=lambda row: row.key)
def test_a_row_tells_what_holds_for_its_key(row: Row) -> None:
    models = (StationFile, RuleSet, ForwardFile, SounderFile)
    found = [field for model in models for key, field in fields(model) if key == row.key]
    assert found, "there is no such key"
    assert any(tells_range(row, field) and tells_default(row, field) for field in found)


def options_told() -> dict[str, list[Row]]:
    """Return the rows of drivers/README.md by driver, as its headings name them."""
    text = DRIVERS_MANUAL.read_text(encoding="utf-8")
    sections = re.split(r"^## ", text, flags=re.MULTILINE)[1:]
    return {
        name: [row for row in rows(section) if row.key in find_spec(name).options.model_fields]
        for section in sections
        for name in driver_names()
        if re.search(rf"\b{name}\b", section.partition("\n")[0])
    }


@pytest.mark.parametrize(("driver", "told"), options_told().items())
def test_a_row_tells_what_holds_for_an_option(driver: str, told: list[Row]) -> None:
    options = find_spec(driver).options.model_fields
    wrong = [
        row.key
        for row in told
        if not (tells_range(row, options[row.key]) and tells_default(row, options[row.key]))
    ]
    assert wrong == []


def test_the_manual_of_drivers_has_a_section_for_each() -> None:
    assert set(options_told()) == set(driver_names())


def test_a_wrong_row_is_found() -> None:
    field = StationFile.model_fields["station"].annotation.model_fields["exit_time_s"]
    assert tells_range(Row("exit_time_s", "s, 1 to 300", "needed"), field)
    assert not tells_range(Row("exit_time_s", "s, 1 to 30", "needed"), field)
