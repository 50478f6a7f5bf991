"""Turn what pydantic says into Problems with line, key, value, range and remedy."""

from collections.abc import Iterator
from difflib import get_close_matches
from enum import StrEnum
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from linetender.settings.positions import Path
from linetender.settings.problems import Problem
from linetender.settings.toml_file import TomlFile

_MISSING = object()


def explain(
    error: ValidationError, model: type[BaseModel], toml: TomlFile, root: Path = ()
) -> list[Problem]:
    """Translate a validation error.

    Args:
        error: What pydantic raised.
        model: The model that was validated.
        toml: The file.
        root: Where in the file the model's data stand; empty for the whole file.

    Returns:
        One Problem per key, the innermost where several lie within each other.
    """
    problems: dict[Path, Problem] = {}
    for detail in error.errors(include_url=False, include_context=False):
        path = _data_path(detail["loc"], toml.at(root), detail["type"] == "missing")
        if detail["type"].startswith("union_tag"):
            path = (*path, "kind")
        problems.setdefault(root + path, _problem(detail, model, toml, root, path))
    return [
        problem
        for path, problem in problems.items()
        if not any(other[: len(path)] == path and other != path for other in problems)
    ]


def _problem(
    detail: ErrorDetails, model: type[BaseModel], toml: TomlFile, root: Path, path: Path
) -> Problem:
    is_tag = detail["type"].startswith("union_tag")
    table, field = _resolve(model, toml.at(root), path[:-1] if is_tag else path)
    key = str(path[-1]) if path else ""
    if detail["type"] == "extra_forbidden":
        known = sorted(_names(table))
        return toml.problem(
            root + path,
            f"there is no such key here; known are {', '.join(known)}",
            _nearest(key, known) or "remove it",
            toml.at(root + path),
        )
    expected = _expected(field) if field and field.description else _message(detail)
    if detail["type"] in ("missing", "union_tag_not_found"):
        return toml.problem(root + path, f"missing; expected {expected}", "add it")
    value = toml.at(root + path)
    if isinstance(value, dict) and field is None:  # the words of a driver's own check
        return toml.problem(root + path, expected, "change it")
    remedy = (_nearest(value, _choices(field)) if isinstance(value, str) else "") or "change it"
    return toml.problem(root + path, f"expected {expected}", remedy, value)


def _data_path(loc: tuple[str | int, ...], data: Any, missing: bool) -> Path:
    """Drop from pydantic's location what is no key of the file (tags and names of types)."""
    path: Path = ()
    for place, step in enumerate(loc):
        if missing and place == len(loc) - 1:
            return (*path, step)
        if isinstance(data, dict) and step in data:
            data = data[step]
        elif isinstance(data, list) and isinstance(step, int) and step < len(data):
            data = data[step]
        else:
            continue
        path = (*path, step)
    return path


def _resolve(
    model: type[BaseModel], data: Any, path: Path
) -> tuple[type[BaseModel] | None, FieldInfo | None]:
    """Find the model of the table that holds the last key, and the field of that key."""
    here: Any = model
    table: type[BaseModel] | None = None
    field: FieldInfo | None = None
    for step in path:
        chosen = _choose(here, data)
        if isinstance(chosen, type) and issubclass(chosen, BaseModel):
            table = chosen
            field = _field(chosen, str(step))
            here = _MISSING if field is None else field.annotation
        else:  # a dict's or a tuple's content
            inner = get_args(chosen)
            here = (inner[-1] if isinstance(step, str) else inner[0]) if inner else _MISSING
            table = None
        data = _inner(data, step)
    return table, field


def _inner(data: Any, step: str | int) -> Any:
    if isinstance(data, dict):
        return data.get(step)
    is_entry = isinstance(data, list) and isinstance(step, int) and step < len(data)
    return data[step] if is_entry else None


def _choose(annotation: Any, data: Any) -> Any:
    """Look through Annotated, Optional and unions; of several tables take the one of its kind."""
    origin = get_origin(annotation)
    if origin is Annotated:
        return _choose(get_args(annotation)[0], data)
    if origin not in (Union, UnionType):
        return annotation
    members = [_choose(member, data) for member in get_args(annotation) if member is not type(None)]
    kind = data.get("kind") if isinstance(data, dict) else None
    for member in members:
        known = _field(member, "kind") if isinstance(member, type) else None
        if known is not None and kind in get_args(known.annotation):
            return member
    return members[0]


def _field(model: Any, key: str) -> FieldInfo | None:
    fields: dict[str, FieldInfo] = getattr(model, "model_fields", {})
    return next((field for name, field in fields.items() if key == (field.alias or name)), None)


def _names(model: type[BaseModel] | None) -> Iterator[str]:
    for name, field in model.model_fields.items() if model else ():
        yield field.alias or name


def _expected(field: FieldInfo) -> str:
    """Say in words what a field takes: its description and its range."""
    low, high = _bound(field, "ge"), _bound(field, "le")
    parts = [str(field.description)]
    if low is not None and high is not None:
        parts.append(f"from {low:.10g} to {high:.10g}")
    return ", ".join(parts)


def _message(detail: ErrorDetails) -> str:
    """What pydantic says, for models whose fields carry no description (drivers' options)."""
    message = detail["msg"]
    for prefix in ("Input should be ", "Value error, "):
        message = message.removeprefix(prefix)
    return "a value for it" if detail["type"] == "missing" else message


def _bound(field: FieldInfo, name: str) -> float | None:
    for item in _metadata(field):
        bound = getattr(item, name, None)
        if isinstance(bound, int | float):
            return bound
    return None


def _metadata(field: FieldInfo) -> Iterator[Any]:
    yield from field.metadata
    for annotation in _inside(field.annotation):
        if get_origin(annotation) is Annotated:
            for item in annotation.__metadata__:
                yield from item.metadata if isinstance(item, FieldInfo) else (item,)


def _choices(field: FieldInfo | None) -> list[str]:
    choices: list[str] = []
    for annotation in _inside(field.annotation) if field else ():
        if get_origin(annotation) is Literal:
            choices += [str(choice) for choice in get_args(annotation)]
        elif isinstance(annotation, type) and issubclass(annotation, StrEnum):
            choices += [str(member.value) for member in annotation]
    return choices


def _inside(annotation: Any) -> Iterator[Any]:
    yield annotation
    if get_origin(annotation) is not Literal:
        for inner in get_args(annotation):
            yield from _inside(inner)


def _nearest(word: str, known: list[str]) -> str:
    found = get_close_matches(word, known, n=1, cutoff=0.6)
    return f'did you mean "{found[0]}"?' if found else ""
