"""The JSON Schema of the lines of a recording; `schema.json` beside this file is made from it."""

from pathlib import Path
from typing import Any

import msgspec

from linetender.recording.lines import SCHEMA, Line

SCHEMA_FILE = Path(__file__).with_suffix(".json")


def schema() -> dict[str, Any]:
    """Return the schema of one line, any of all kinds."""
    made = _with_short_descriptions(msgspec.json.schema(Line))
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"One line of a linetender recording, schema {SCHEMA}",
        **made,
    }


def schema_text() -> str:
    """Return it as the file holds it."""
    return msgspec.json.format(msgspec.json.encode(schema()), indent=2).decode() + "\n"


def _with_short_descriptions(part: Any) -> Any:
    """Keep the first sentence of each docstring; the rest stands in the code."""
    if isinstance(part, list):
        return [_with_short_descriptions(each) for each in part]
    if not isinstance(part, dict):
        return part
    return {
        key: each.partition("\n")[0]
        if key == "description" and isinstance(each, str)
        else _with_short_descriptions(each)
        for key, each in part.items()
    }
