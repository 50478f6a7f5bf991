"""The schemas in config/mqtt are those of what is sent, and another tool finds it to fit."""

import json
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from linetender.annunciation.far_payloads import Confirm, Gesture, Order, Press, Reply
from linetender.annunciation.payloads import encode
from linetender.annunciation.schemas import SHAPES, schema_text
from linetender.core.events import Sound
from linetender.core.inputs import Verb
from linetender.settings.shipped import shipped

FOLDER = shipped("config/mqtt")


@pytest.mark.parametrize("name", SHAPES)
def test_the_schema_file_is_current(name: str, update_golden: bool) -> None:
    file = FOLDER / f"{name}.schema.json"
    if update_golden:
        file.write_text(schema_text(name), encoding="utf-8")
    assert file.read_text(encoding="utf-8") == schema_text(name), "run pytest --update-golden"


def test_there_is_no_schema_of_anything_else() -> None:
    found = {path.name.partition(".")[0] for path in FOLDER.glob("*.json")}
    assert found == set(SHAPES)


def validator(name: str) -> Draft202012Validator:
    schema = json.loads((FOLDER / f"{name}.schema.json").read_bytes())
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


RUN = "0a1b2c3d"
SENT = [
    ("confirm", Confirm(RUN, 5, 3, Sound.HIGH)),
    ("press", Press(RUN, 5, "b0b0", 1, 3, Gesture.TAP)),
    ("command", Order(RUN, 5, "phone1", 1, 3, Verb.ACKNOWLEDGE)),
    ("reply", Reply(1, False, "why")),
]


@pytest.mark.parametrize(("name", "payload"), SENT)
def test_what_is_sent_fits(name: str, payload: Any) -> None:
    assert list(validator(name).iter_errors(json.loads(encode(payload)))) == []


@pytest.mark.parametrize(
    ("name", "key", "value"),
    [
        ("confirm", "sounding", "loud"),
        ("confirm", "heard", -1),
        ("press", "gesture", "wave"),
        ("press", "from", "a b"),
        ("press", "from", "a\n"),
        ("command", "verb", "dance"),
        ("reply", "ok", "yes"),
    ],
)
def test_what_would_be_refused_does_not_fit(name: str, key: str, value: object) -> None:
    payload = json.loads(encode(dict(SENT)[name])) | {key: value}
    assert list(validator(name).iter_errors(payload)) != []
