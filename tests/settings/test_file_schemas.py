"""What an editor is told of station files is what linetender asks of them."""

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from linetender.settings.file_schemas import FILES, file_schema_text
from linetender.settings.shipped import shipped

FOLDER = shipped("config") / "schemas"
EXAMPLES = sorted(
    path for folder in ("config", "config/second_boxes") for path in shipped(folder).glob("*.toml")
)


@pytest.mark.parametrize("kind", FILES)
def test_the_schema_file_is_current(kind: str, update_golden: bool) -> None:
    file = FOLDER / f"{kind}.schema.json"
    if update_golden:
        file.write_text(file_schema_text(kind), encoding="utf-8")
    assert file.read_text(encoding="utf-8") == file_schema_text(kind), "run pytest --update-golden"


def test_there_is_no_schema_of_anything_else() -> None:
    assert {path.name.partition(".")[0] for path in FOLDER.iterdir()} == set(FILES)


def errors(data: dict[str, Any]) -> list[str]:
    """Return the paths at which an independent validator finds fault."""
    schema = json.loads((FOLDER / f"{data.get('kind', 'station')}.schema.json").read_bytes())
    Draft202012Validator.check_schema(schema)
    return [error.json_path for error in Draft202012Validator(schema).iter_errors(data)]


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_every_example_fits(path: Path) -> None:
    assert errors(tomllib.loads(path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize(
    ("table", "key", "value"),
    [
        ("station", "exit_time_s", -1),
        ("station", "exit_time_s", "soon"),
        ("station", "arrangement", "roof"),
        ("station", "exit_tim_s", 7),
        ("element", "kind", "venturi"),
        ("devices", "Air!", {"driver": "sdp8xx"}),
    ],
)
def test_what_lint_refuses_an_editor_marks(table: str, key: str, value: object) -> None:
    text = shipped("config/wearer_side_minimal.toml").read_text(encoding="utf-8")
    data = tomllib.loads(text)
    data[table][key] = value
    assert errors(data) != []
