"""Every key that the parser finds has the line on which it stands."""

import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linetender.settings.positions import Path, line_of, positions
from linetender.settings.shipped import shipped

TEXT = r'''# a comment with [brackets] and key = "value"
title = "one # two = three"
"quoted key" = 1
'literal key'.'b' . c = 2
multi = """
[not.a.table]
fake = 1 \"""
"""
after = @@@it's@@@
[table]
key = [ 1, # comment with ]
  "two, ]",
  { name = "x", deep = { er = 3 } },
]
[table.inner]
date = 1979-05-27T07:32:00Z
[[array]]
name = "first"
[array.sub]
key = 1
[[array]]
name = "second"
[[array.list]]
key = 1
[[array.list]]
key = 2
[ "spaced" . out ]
end = """"quotes""""
last = true
'''.replace("@@@", "'''")


def _paths(data: Any, path: Path = ()) -> dict[Path, Any]:
    found: dict[Path, Any] = {path: data} if path else {}
    if isinstance(data, dict):
        for key, inner in data.items():
            found |= _paths(inner, (*path, key))
    elif isinstance(data, list):
        for entry, inner in enumerate(data):
            found |= _paths(inner, (*path, entry))
    return found


def test_each_key_has_its_line() -> None:
    found = positions(TEXT)
    lines = TEXT.splitlines()
    assert set(found) == set(_paths(tomllib.loads(TEXT)))
    told = {path: lines[found[path] - 1].split("#")[0].strip() for path in found}
    assert told[("quoted key",)] == '"quoted key" = 1'
    assert told[("literal key", "b", "c")] == "'literal key'.'b' . c = 2"
    assert told[("after",)].startswith("after = ")
    assert told[("table", "key", 2, "deep", "er")] == '{ name = "x", deep = { er = 3 } },'
    assert told[("array", 1, "name")] == 'name = "second"'
    assert told[("array", 0, "sub", "key")] == "key = 1"
    assert told[("array", 1, "list", 1, "key")] == "key = 2"
    assert told[("spaced", "out")] == '[ "spaced" . out ]'
    assert told[("spaced", "out", "last")] == "last = true"


def test_a_key_that_is_not_there_has_the_line_of_its_table() -> None:
    found = positions("a = 1\n[b]\nc = 2\n")
    assert line_of(found, ("b", "missing")) == 2
    assert line_of(found, ("missing",)) is None


def test_windows_line_ends_count_once() -> None:
    assert positions("a = 1\r\n[b]\r\nc = 2\r\n") == {("a",): 1, ("b",): 2, ("b", "c"): 3}


@pytest.mark.parametrize("path", sorted(shipped("config").rglob("*.toml")), ids=lambda p: p.stem)
def test_every_key_of_the_shipped_files_is_found(path) -> None:
    text = path.read_text(encoding="utf-8")
    assert set(positions(text)) == set(_paths(tomllib.loads(text)))


_KEYS = st.one_of(
    st.from_regex(r"[A-Za-z0-9_-]{1,4}", fullmatch=True),
    st.text(st.characters(codec="utf-8", exclude_characters="\x7f", min_codepoint=32), max_size=4),
)
_SCALARS = st.one_of(
    st.integers(-9, 9),
    st.booleans(),
    st.text(st.characters(codec="utf-8", exclude_characters="\x7f", min_codepoint=32), max_size=6),
)
_VALUES = st.recursive(
    _SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_KEYS, inner, max_size=3),
    max_leaves=12,
)


def _toml(value: Any, gap: str) -> str:
    if isinstance(value, dict):
        pairs = (f"{_quoted(key)} ={gap}{_toml(each, gap)}" for key, each in value.items())
        return "{ " + ", ".join(pairs) + " }"
    if isinstance(value, list):
        return "[" + f',{gap}\n# , ] "\n'.join(_toml(each, gap) for each in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    return _quoted(value) if isinstance(value, str) else str(value)


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


@given(st.dictionaries(_KEYS, _VALUES, max_size=5), st.sampled_from(["", " ", "\t"]))
def test_every_key_of_any_text_is_found(data: dict[str, Any], gap: str) -> None:
    # A line end inside an inline table is no TOML: lists in them are written on one line.
    text = "".join(f"{_quoted(key)} = {_toml(each, gap)}\n" for key, each in data.items())
    try:
        parsed = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        text = text.replace(f',{gap}\n# , ] "\n', ", ")
        parsed = tomllib.loads(text)
    assert parsed == data
    assert set(positions(text)) == set(_paths(data))
