"""The manual in config/ names every key that a person can write."""

import re
from typing import Annotated, Any, get_args, get_origin

from pydantic import BaseModel

from linetender.settings.forward_file import ForwardFile
from linetender.settings.rule_file import RuleSet
from linetender.settings.shipped import shipped
from linetender.settings.sounder_file import SounderFile
from linetender.settings.station_file import StationFile
from linetender_drivers.registry import driver_names, find_spec

MANUAL = shipped("config/README.md").read_text(encoding="utf-8")


def _models(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    inner = (
        get_args(annotation)[:1] if get_origin(annotation) is Annotated else get_args(annotation)
    )
    return [model for each in inner for model in _models(each)]


def _keys(model: type[BaseModel], seen: set[type[BaseModel]]) -> set[str]:
    if model in seen:
        return set()
    seen.add(model)
    keys = set()
    for name, field in model.model_fields.items():
        keys.add(field.alias or name)
        for inner in _models(field.annotation):
            keys |= _keys(inner, seen)
    return keys


def _named_in_code_spans(text: str) -> set[str]:
    spans = text.replace("\n", " ").split("`")[1::2]
    return {word for span in spans for word in re.findall(r"\w+", span)}


def test_every_key_of_station_and_rule_files_is_in_the_manual() -> None:
    keys = set().union(
        *(_keys(model, set()) for model in (StationFile, RuleSet, ForwardFile, SounderFile))
    )
    assert keys - _named_in_code_spans(MANUAL) == set()


def test_every_driver_and_its_options_are_in_the_manual() -> None:
    rows = [row.split("|")[1:3] for row in MANUAL.splitlines() if row.startswith("|")]
    missing = {}
    for name in driver_names():
        told = {
            word
            for driver, options in rows
            if f"`{name}`" in driver
            for word in _named_in_code_spans(options)
        }
        missing[name] = set(find_spec(name).options.model_fields) - told
    assert missing == {name: set() for name in driver_names()}
