"""What `lint` says of unsafe station files, compared whole.

`tests/settings/unsafe/NAME.toml` are invented; `NAME.txt` beside each is what is said at
80 columns, with the exit status. `pytest --update-golden` writes them anew, and the
commit says why.
"""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from linetender.cli.main import app

UNSAFE = Path(__file__).resolve().parents[1] / "settings" / "unsafe"
NAMES = tuple(path.stem for path in sorted(UNSAFE.glob("*.toml")))


def _lint(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> tuple[int, str]:
    monkeypatch.chdir(UNSAFE)
    result = CliRunner().invoke(app, ["lint", *arguments], env={"COLUMNS": "80"})
    return result.exit_code, result.output


@pytest.mark.parametrize("name", NAMES)
def test_each_finding_is_explained(
    name: str, monkeypatch: pytest.MonkeyPatch, update_golden: bool
) -> None:
    code, output = _lint(monkeypatch, f"{name}.toml")
    told = f"{output}exit status {code}\n"
    golden = UNSAFE / f"{name}.txt"
    if update_golden:
        golden.write_text(told, encoding="utf-8")
    assert golden.exists(), "no golden text: make it with pytest --update-golden"
    assert told == golden.read_text(encoding="utf-8")
    assert max(map(len, told.splitlines())) <= 80
    assert code in (1, 3)


def test_every_golden_text_has_its_station_file() -> None:
    assert NAMES == tuple(path.stem for path in sorted(UNSAFE.glob("*.txt")))
    assert len(NAMES) >= 12


@pytest.mark.parametrize("name", NAMES)
def test_programs_are_told_the_same(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    code, output = _lint(monkeypatch, f"{name}.toml", "--json")
    told = json.loads(output)
    text = "".join((UNSAFE / f"{name}.txt").read_text(encoding="utf-8").split())
    assert told["fine"] is False
    assert told["problems"]
    for problem in told["problems"]:
        for part in (problem["key"], problem["expected"], problem["remedy"]):
            assert "".join(part.split()) in text
    assert text.endswith(f"exitstatus{code}")
