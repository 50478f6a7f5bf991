"""The options of `probe --listen`, from the command line."""

from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from linetender.cli.exit_codes import ExitCode
from linetender.cli.main import app

ADDRESS = "C0:FF:EE:00:5A:5A"


def test_every_option_reaches_the_listener(monkeypatch: pytest.MonkeyPatch) -> None:
    got: list[Any] = []
    monkeypatch.setattr(
        "linetender.cli.listen.listen", lambda address, _out, **more: got.append((address, more))
    )
    options = ["--save", "f.jsonl", "--seconds", "5", "--characteristic", "2a5f"]
    options += ["--start", "2a5f=81"]
    result = CliRunner().invoke(app, ["probe", "--listen", ADDRESS, *options])
    assert result.exit_code == ExitCode.FINE, result.output
    wanted = {"save": Path("f.jsonl"), "seconds": 5.0, "characteristic": "2a5f", "start": "2a5f=81"}
    assert got == [(ADDRESS, wanted)]
    assert CliRunner().invoke(app, ["probe", "--listen", ADDRESS]).exit_code == ExitCode.FINE
    assert got[1:] == [(ADDRESS, dict.fromkeys(wanted))]


@pytest.mark.parametrize("seconds", ["0", "-1", "nan", "inf"])
def test_no_such_time(seconds: str) -> None:
    result = CliRunner().invoke(app, ["probe", "--listen", ADDRESS, "--seconds", seconds])
    assert result.exit_code == ExitCode.USAGE
