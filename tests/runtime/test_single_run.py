"""One daemon per station; the lock ends with its holder, however that ends."""

import fcntl
import os
import subprocess
import sys
from pathlib import Path

import pytest

from linetender.runtime import single_run
from linetender.runtime.single_run import (
    AlreadyRunning,
    SingleRun,
    refuse_if_service_runs,
    runtime_folder,
)


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


@pytest.mark.parametrize("is_link", [False, True])
def test_a_folder_that_another_user_has_made_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, is_link: bool
) -> None:
    monkeypatch.delenv("XDG_RUNTIME_DIR")
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    runtime_folder("shed")
    forged = tmp_path / f"linetender-{os.getuid()}"
    if is_link:
        forged.rename(tmp_path / "elsewhere")
        forged.symlink_to(tmp_path / "elsewhere")
    else:
        monkeypatch.setattr("os.getuid", lambda: 12_345)
        forged.rename(tmp_path / "linetender-12345")
    with pytest.raises(PermissionError, match="not your folder"):
        runtime_folder("shed")


def test_the_refusal_says_how_to_stop_the_holder() -> None:
    with SingleRun("shed"), pytest.raises(AlreadyRunning) as refused:
        SingleRun("shed").__enter__()
    said = str(refused.value)
    assert f"kill {os.getpid()}" in said or "sudo systemctl stop linetender" in said


def test_a_service_is_found_where_systemd_keeps_its_lock(tmp_path: Path) -> None:
    services = tmp_path / "run"
    refuse_if_service_runs("shed", services)  # there is none
    (services / "shed").mkdir(parents=True)
    lock = services / "shed" / "lock"
    lock.write_text("not a number")
    refuse_if_service_runs("shed", services)  # one that has ended
    with lock.open("rb") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        with pytest.raises(AlreadyRunning, match="systemctl list-units 'linetender\\*'"):
            refuse_if_service_runs("shed", services)
    refuse_if_service_runs("shed", services)


@pytest.mark.parametrize(
    ("cgroup", "expected"),
    [
        (
            "0::/system.slice/linetender@shed.service\n",
            "sudo systemctl stop linetender@shed.service",
        ),
        ("0::/user.slice/session-3.scope\n", "or kill 4711"),
    ],
)
def test_the_unit_is_named_as_the_kernel_knows_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cgroup: str, expected: str
) -> None:
    lock = tmp_path / "lock"
    lock.write_text("4711")
    reads = Path.read_text

    def read_text(path: Path, **how: str) -> str:
        return cgroup if str(path) == "/proc/4711/cgroup" else reads(path, **how)

    monkeypatch.setattr(Path, "read_text", read_text)
    assert expected in single_run.how_to_stop(lock)
