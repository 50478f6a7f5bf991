"""`linetender report` and `linetender export` as a person runs them."""

import json
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from linetender.cli.exit_codes import ExitCode
from linetender.recording.retention import sessions_in
from recording.live_sessions import recorded_live

NAME = "demo-2031-05-01T080000"


def linetender(*arguments: str | Path, in_folder: Path) -> tuple[int, str, str]:
    command = Path(sys.executable).with_name("linetender")
    environment = {**os.environ, "COLUMNS": "80", "NO_COLOR": "1", "TERM": "dumb"}
    done = subprocess.run(
        [command, *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env=environment,
        cwd=in_folder,
    )
    assert "Traceback" not in done.stderr
    return done.returncode, done.stdout, done.stderr


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    path = tmp_path / f"{NAME}.jsonl"
    path.write_bytes(recorded_live())
    return path


def test_a_page_and_the_story(recording: Path, tmp_path: Path) -> None:
    code, out, err = linetender("report", recording.name, in_folder=tmp_path)
    page = tmp_path / f"{NAME}.report.html"
    assert (code, err) == (ExitCode.FINE, "")
    assert out.startswith("LEAVE at 1:13 min: Air lost.")
    assert out.endswith(f"The whole report: {page.name}\n")
    assert "\N{NO-BREAK SPACE}" not in out
    assert stat.S_IMODE(page.stat().st_mode) == 0o600
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")


def test_nothing_is_replaced_unasked(recording: Path, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    page.write_text("mine")
    asked = ("report", recording.name, "--out", page)
    code, out, err = linetender(*asked, in_folder=tmp_path)
    assert (code, out, page.read_text()) == (ExitCode.BAD_FILE, "", "mine")
    assert "page.html: there is a file of this name already" in err and "--force" in err
    assert linetender(*asked, "--force", in_folder=tmp_path)[0] == ExitCode.FINE
    assert page.read_text(encoding="utf-8").startswith("<!doctype html>")
    assert stat.S_IMODE(page.stat().st_mode) == 0o600
    assert sorted(path.name for path in tmp_path.iterdir()) == [recording.name, "page.html"]


def test_facts_for_programs_and_no_page(recording: Path, tmp_path: Path) -> None:
    code, out, _ = linetender("report", recording.name, "--json", in_folder=tmp_path)
    facts = json.loads(out)
    assert (code, out.count("\n")) == (ExitCode.FINE, 1)
    # The oxygen fell twice, and nobody had answered when it came back.
    told = [(alarm["rule"], alarm["answered_by"]) for alarm in facts["alarms"]]
    assert told == [("oxygen_low", ""), ("oxygen_low", "wearer"), ("air_lost", "wearer")]
    assert [path.name for path in tmp_path.iterdir()] == [recording.name]


def test_several_sessions_give_one_page(recording: Path, tmp_path: Path) -> None:
    other = tmp_path / "demo-2031-05-02T080000.jsonl"
    other.write_bytes(recording.read_bytes())
    code, out, _ = linetender("report", recording.name, other.name, in_folder=tmp_path)
    page = tmp_path / f"{NAME}.and-1-more.report.html"
    assert code == ExitCode.FINE and out.startswith("2 sessions, the hood worn for 2 min 50 s")
    assert "<h1>2 sessions: report</h1>" in page.read_text(encoding="utf-8")
    code, out, _ = linetender("report", recording.name, other.name, "--json", in_folder=tmp_path)
    assert [json.loads(line)["files"] for line in out.splitlines()] == [
        [recording.name],
        [other.name],
    ]


def test_a_session_is_marked_as_reviewed(recording: Path, tmp_path: Path) -> None:
    assert not sessions_in(tmp_path)[0].is_reviewed
    code, out, _ = linetender("report", recording.name, "--reviewed", in_folder=tmp_path)
    assert code == ExitCode.FINE and "Noted that you have looked at it" in out
    assert sessions_in(tmp_path)[0].is_reviewed
    assert not list(tmp_path.glob("*.html"))


def test_a_file_that_nothing_would_delete_need_not_be_reviewed(
    recording: Path, tmp_path: Path
) -> None:
    other = recording.rename(tmp_path / "session.jsonl")
    code, _, err = linetender("report", other.name, "--reviewed", in_folder=tmp_path)
    assert code == ExitCode.BAD_FILE and "no need to mark it" in err


@pytest.mark.parametrize("verb", ["report", "export"])
@pytest.mark.parametrize(
    ("content", "told"),
    [
        (None, "no such file or directory"),
        (b"", "the file is empty"),
        (b"\x89PNG\r\n", "this is no recording"),
    ],
)
def test_bad_files(verb: str, content: bytes | None, told: str, tmp_path: Path) -> None:
    if content is not None:
        (tmp_path / "bad.jsonl").write_bytes(content)
    before = sorted(tmp_path.iterdir())
    code, out, err = linetender(verb, "bad.jsonl", in_folder=tmp_path)
    assert (code, out) == (ExitCode.BAD_FILE, "")
    assert told in err and "bad.jsonl" in err
    assert sorted(tmp_path.iterdir()) == before


def test_no_folder_for_the_page(recording: Path, tmp_path: Path) -> None:
    asked = ("report", recording.name, "--out", "nowhere/page.html")
    code, _, err = linetender(*asked, in_folder=tmp_path)
    assert code == ExitCode.BAD_FILE and "nowhere/page.html" in err and ".new" not in err


def test_tables(recording: Path, tmp_path: Path) -> None:
    code, out, _ = linetender("export", recording.name, in_folder=tmp_path)
    readings, events = tmp_path / f"{NAME}.csv", tmp_path / f"{NAME}.events.csv"
    assert (code, out) == (ExitCode.FINE, f"Readings: {readings.name}\nEvents: {events.name}\n")
    lines = recording.read_bytes().count(b'{"is":"reading"')
    assert readings.read_bytes().count(b"\n") == lines + 1
    assert [stat.S_IMODE(path.stat().st_mode) for path in (readings, events)] == [0o600, 0o600]
    code, _, err = linetender("export", recording.name, in_folder=tmp_path)
    assert code == ExitCode.BAD_FILE and f"{readings.name}: there is a file" in err
    assert linetender("export", recording.name, "--force", in_folder=tmp_path)[0] == ExitCode.FINE


def test_tables_need_files_of_their_own(recording: Path, tmp_path: Path) -> None:
    asked = ("export", recording.name, "--out", "a.csv", "--events", "a.csv")
    assert linetender(*asked, in_folder=tmp_path)[0] == ExitCode.USAGE


def test_damage_in_the_middle_leaves_no_half_table(recording: Path, tmp_path: Path) -> None:
    data = bytearray(recording.read_bytes())
    data[len(data) // 2] ^= 1
    recording.write_bytes(bytes(data))
    code, _, _ = linetender("export", recording.name, in_folder=tmp_path)
    assert code == ExitCode.BAD_FILE
    assert [path.name for path in tmp_path.iterdir()] == [recording.name]
