"""The JSON Schema is that of the lines, and another tool finds recordings to fit it."""

import copy
from typing import Any

import msgspec
import pytest
from jsonschema import Draft202012Validator

from linetender.recording.schema import SCHEMA_FILE, schema_text
from recording.live_sessions import recorded_live
from recording.sessions import small_recording


@pytest.fixture(scope="module")
def validator() -> Draft202012Validator:
    schema = msgspec.json.decode(SCHEMA_FILE.read_bytes())
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def test_the_schema_file_is_current(update_golden: bool) -> None:
    if update_golden:
        SCHEMA_FILE.write_text(schema_text(), encoding="utf-8")
    assert SCHEMA_FILE.read_text(encoding="utf-8") == schema_text(), "run pytest --update-golden"


def lines_of(data: bytes) -> list[Any]:
    return [msgspec.json.decode(line) for line in data.splitlines()]


def test_every_line_of_a_recording_fits(validator: Draft202012Validator) -> None:
    lines = lines_of(small_recording()) + lines_of(recorded_live(seconds=45))[:3000]
    kinds = {line["is"] for line in lines}
    assert {"segment", "check", "end", "reading", "fact", "alarm_changed"} <= kinds
    for line in lines:
        assert list(validator.iter_errors(line)) == []


@pytest.mark.parametrize(
    ("kind", "key", "value"),
    [
        ("segment", "why", "whim"),
        ("segment", "plan", {}),
        ("check", "crc32", 7),
        ("reading", "signal", "luck"),
        ("reading", "value", "high"),
        ("alarm_changed", "after", "loud"),
        ("end", "is", "rumour"),
    ],
)
def test_what_is_no_line_does_not_fit(
    validator: Draft202012Validator, kind: str, key: str, value: object
) -> None:
    lines = lines_of(small_recording())
    line = copy.deepcopy(next(line for line in lines if line["is"] == kind))
    line[key] = value
    assert not validator.is_valid(line)
