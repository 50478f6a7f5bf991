"""One daemon per station; the lock ends with its holder, however that ends."""

import subprocess
import sys
from pathlib import Path

import pytest

from linetender.runtime.single_run import AlreadyRunning, SingleRun, runtime_folder


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("RUNTIME_DIRECTORY", raising=False)
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))


def test_a_second_one_is_refused_and_told_why(tmp_path: Path) -> None:
    with SingleRun("shed"):
        with pytest.raises(AlreadyRunning, match="'shed'") as refused, SingleRun("shed"):
            pass
        assert str(tmp_path) in str(refused.value)
        with SingleRun("barn"):  # another station is none of its business
            pass
    with SingleRun("shed"):
        pass


def test_the_lock_of_one_that_was_killed_holds_nobody_up() -> None:
    holder = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "from linetender.runtime.single_run import SingleRun\n"
            "SingleRun('shed').__enter__()\nprint('holds', flush=True)\ninput()",
        ],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    )
    with holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"holds\n"
        with pytest.raises(AlreadyRunning), SingleRun("shed"):
            pass
        holder.kill()
        holder.wait()
    with SingleRun("shed"):
        pass


def test_where_the_lock_lies(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert runtime_folder("shed") == tmp_path / "linetender" / "shed"
    monkeypatch.setenv("RUNTIME_DIRECTORY", f"{tmp_path}/of-the-service:{tmp_path}/other")
    assert runtime_folder("shed") == tmp_path / "of-the-service" / "shed"
    monkeypatch.delenv("RUNTIME_DIRECTORY")
    monkeypatch.delenv("XDG_RUNTIME_DIR")
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "tmp"))
    found = runtime_folder("shed")
    assert found.is_relative_to(tmp_path / "tmp")
    assert found.stat().st_mode & 0o777 == 0o700
