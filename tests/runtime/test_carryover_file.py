"""The kept state: whole or not there, whatever happens in between."""

import errno
import os
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import msgspec
import pytest

from linetender.core.carryover import Carryover
from linetender.core.inputs import By, Command, Verb, reading
from linetender.core.plan import Plan
from linetender.core.signals import Signal
from linetender.core.stages import Stage
from linetender.core.watch import Watch
from linetender.runtime import carryover_file
from linetender.runtime.carryover_file import (
    FILE_NAME,
    CarryoverKeeper,
    KeptState,
    load_carryover,
    write_whole,
)
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped

BOOT = "0123456789abcdef"
S = 1_000_000_000


def demo_plan() -> Plan:
    return load_station(shipped("config/demo.toml")).plan


def worn_watch() -> Watch:
    """Return a Watch of the demo station, worn for a while."""
    watch = Watch(demo_plan(), 0)
    watch.feed(Command(0, Verb.START, By.WEARER))
    for second in range(1, 30):
        watch.feed(reading(second * S, Signal.HOOD_PRESSURE_PA, 60.0 + second % 3))
    return watch


def kept_by(folder: Path, boot: str = BOOT) -> Watch:
    watch = worn_watch()
    keeper = CarryoverKeeper(folder, boot)
    keeper.keep(watch.carryover())
    keeper.close()
    assert keeper.fault == ""
    return watch


def test_what_was_kept_is_there_for_the_next_run(tmp_path: Path) -> None:
    watch = kept_by(tmp_path)
    found = load_carryover(tmp_path, BOOT, demo_plan())
    assert found is not None
    assert (found.is_restart, found.parts) == (True, as_json(watch.carryover()).parts)
    assert found.blind_ns is not None
    assert 0 <= found.blind_ns < 60 * S
    assert Watch(demo_plan(), 0, found).snapshot().stage is Stage.WORN
    assert (tmp_path / FILE_NAME).stat().st_mode & 0o777 == 0o600
    assert [path.name for path in tmp_path.iterdir()] == [FILE_NAME]


def as_json(carryover: Carryover) -> Carryover:
    return msgspec.json.decode(msgspec.json.encode(carryover), type=Carryover)


@pytest.mark.parametrize(("wrote", "reads"), [(BOOT, "another"), ("unknown", "unknown")])
def test_after_a_power_down_nobody_knows_how_long_it_was_blind(
    wrote: str, reads: str, tmp_path: Path
) -> None:
    kept_by(tmp_path, wrote)
    found = load_carryover(tmp_path, reads, demo_plan())
    assert found is not None
    assert found.blind_ns is None


def test_nothing_kept_is_no_fault(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    assert load_carryover(tmp_path, BOOT, demo_plan()) is None
    assert caplog.text == ""


def whole_file(folder: Path) -> bytes:
    kept_by(folder)
    return (folder / FILE_NAME).read_bytes()


GARBLED: list[tuple[str, Any]] = [
    ("empty", lambda _: b""),
    ("zeros", lambda data: bytes(len(data))),
    ("torn", lambda data: data[: len(data) // 2]),
    ("not JSON", lambda _: b"\xff\xfe\x00garbage"),
    ("another file", lambda _: b'{"schema": 1}'),
    ("deep", lambda _: b'{"boot":"","at_ns":0,"carryover":' + b"[" * 100_000),
    ("no ages", lambda data: data.replace(b'"since_ns":', b'"since_ns":[],"x":')),
    ("an unknown state", lambda data: data.replace(b'"normal"', b'"no such state"')),
    ("an unknown stage", lambda data: data.replace(b'"worn"', b'"asleep"')),
    ("parts of another kind", lambda data: data.replace(b'"journal":{', b'"journal":7,"x":{')),
]


@pytest.mark.parametrize(("name", "garble"), GARBLED, ids=[name for name, _ in GARBLED])
def test_a_garbled_file_is_told_and_not_used(
    name: str, garble: Any, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    data = whole_file(tmp_path)
    garbled = garble(data)
    assert garbled != data
    (tmp_path / FILE_NAME).write_bytes(garbled)
    assert load_carryover(tmp_path, BOOT, demo_plan()) is None
    assert FILE_NAME in caplog.text
    assert "starting anew" in caplog.text


def test_a_file_that_cannot_be_read_is_told(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    (tmp_path / FILE_NAME).mkdir()
    assert load_carryover(tmp_path, BOOT, demo_plan()) is None
    assert "starting anew" in caplog.text


STEPS = ("open", "write", "fsync", "replace", "fsync folder")


@pytest.mark.parametrize("step", range(len(STEPS)), ids=STEPS)
def test_a_disk_that_refuses_at_any_step_leaves_a_whole_file(
    step: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "state"
    write_whole(path, b"old")
    full = OSError(errno.ENOSPC, "No space left on device")

    def refuse(*_: object, **__: object) -> None:
        raise full

    if step == 0:
        monkeypatch.setattr(carryover_file.os, "open", refuse)
    elif step == 1:
        monkeypatch.setattr(carryover_file.os, "fdopen", refuse)
    elif step == 3:
        monkeypatch.setattr(Path, "replace", refuse)
    else:
        calls = iter(range(10))
        fails_at = 0 if step == 2 else 1

        def fsync(descriptor: int) -> None:
            if next(calls) == fails_at:
                raise full

        monkeypatch.setattr(carryover_file.os, "fsync", fsync)
    with pytest.raises(OSError, match="No space"):
        write_whole(path, b"new")
    assert path.read_bytes() == (b"new" if step == 4 else b"old")
    assert [one.name for one in tmp_path.iterdir()] == ["state"]


_WRITER = """
import sys
from pathlib import Path
from linetender.runtime.carryover_file import write_whole
path = Path(sys.argv[1])
print("ready", flush=True)
number = 0
while True:
    write_whole(path, (str(number) + " ").encode() * 5_000)
    number += 1
"""


def test_killed_at_any_instant_the_file_is_old_or_new_and_whole(tmp_path: Path) -> None:
    path = tmp_path / "state"
    for kill in range(5):
        writer = subprocess.Popen([sys.executable, "-c", _WRITER, path], stdout=subprocess.PIPE)
        assert writer.stdout is not None
        writer.stdout.readline()
        wait_until_it_changes(path)
        for _ in range(kill * 300):
            os.getpid()  # another instant of the writer's turn each time
        writer.kill()
        writer.wait()
        writer.stdout.close()
        words = path.read_bytes().split()
        assert (len(words), len(set(words))) == (5_000, 1)


def wait_until_it_changes(path: Path) -> None:
    def stamp() -> int:
        try:
            return path.stat().st_mtime_ns
        except FileNotFoundError:
            return 0

    before, deadline_s = stamp(), time.monotonic() + 20
    while stamp() == before:
        assert time.monotonic() < deadline_s


def test_only_the_newest_state_is_written_when_the_disk_is_slow(tmp_path: Path) -> None:
    keeper = CarryoverKeeper(tmp_path, BOOT)
    for number in range(100):
        keeper.keep(Carryover({"journal": {"n": number}}))
    keeper.close()
    kept = msgspec.json.decode((tmp_path / FILE_NAME).read_bytes(), type=KeptState)
    assert kept.carryover.parts == {"journal": {"n": 99}}


def test_a_full_disk_is_a_fault_and_no_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(path: Path, data: bytes) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(carryover_file, "write_whole", refuse)
    keeper = CarryoverKeeper(tmp_path, BOOT)
    keeper.keep(Carryover({}))
    keeper.close()
    assert keeper.fault == f"{tmp_path / FILE_NAME}: No space left on device; the state is not kept"


def test_a_folder_that_cannot_be_made_is_told_at_the_start(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(OSError, match="file"):
        CarryoverKeeper(tmp_path / "file" / "state", BOOT)
