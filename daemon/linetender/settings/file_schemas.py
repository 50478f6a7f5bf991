"""JSON Schemas of the files that people write, so that their editor completes and checks them.

`config/schemas/` holds them as files, made from here. An editor sees names, ranges and
meanings; what one key demands of another only `linetender lint` knows.
"""

import json
from typing import Any

from linetender.settings.forward_file import ForwardFile
from linetender.settings.sounder_file import SounderFile
from linetender.settings.station_file import StationFile
from linetender.settings.strict_model import StrictModel

FILES: dict[str, type[StrictModel]] = {
    "station": StationFile,
    "sounder": SounderFile,
    "forward": ForwardFile,
}
"""By `kind` of the file."""


def file_schema_text(kind: str) -> str:
    """Return the schema of one kind of file, as its own file holds it."""
    made = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **_closed(FILES[kind].model_json_schema()),
        "title": f"linetender, kind {kind}",
    }
    return json.dumps(made, indent=2, ensure_ascii=False) + "\n"


def _closed(part: Any) -> Any:
    """Refuse names that fit no pattern; the generator leaves that open."""
    if isinstance(part, list):
        return [_closed(each) for each in part]
    if not isinstance(part, dict):
        return part
    closed = {key: _closed(each) for key, each in part.items()}
    if "patternProperties" in closed:
        closed.setdefault("additionalProperties", False)
    return closed
