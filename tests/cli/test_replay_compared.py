"""`linetender replay` with other settings, with a part of a session, and with many files."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from cli.test_replay import altered, linetender_replay
from linetender.cli.exit_codes import ExitCode
from linetender.settings.shipped import shipped
from recording.live_sessions import recorded_live
from runtime.demo_sessions import ORDINARY, Hand, play

FAN_STOPS_S, END_S = 20.0, 32.0


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A recorded session of the demo station in which the fan stops."""
    path = tmp_path_factory.mktemp("recorded") / "session.jsonl"
    play((*ORDINARY, (FAN_STOPS_S, Hand.fan_stop)), END_S, record=path)
    return path


def other_station(folder: Path, old: str, new: str) -> Path:
    text = shipped("config/demo.toml").read_text(encoding="utf-8")
    path = folder / "other.toml"
    path.write_text(text.replace(old, new) if old else text + new)
    return path


def other_rules(folder: Path, rule: str, change: Callable[[str], str]) -> Path:
    """Write the default rules with the text of one rule changed."""
    text = shipped("config/rules/default.toml").read_text(encoding="utf-8")
    table = re.search(rf"^\[rule\.{rule}\]$.*?(?=^\[rule|\Z)", text, re.MULTILINE | re.DOTALL)
    assert table is not None
    changed = change(table[0])
    assert changed != table[0]
    path = folder / "rules.toml"
    path.write_text(text.replace(table[0], changed))
    return path


def sooner(text: str) -> str:
    return text.replace("on_delay_s = 2\n", "on_delay_s = 1\n")


def raise_times(out: str, side: str) -> list[float]:
    return [
        round(line["since_start_ns"] / 1e9, 1)
        for line in json.loads(out)["timeline"]
        if line[side] and line[side]["is"] == "alarm_changed" and line[side]["rule"] == "air_lost"
    ]


def test_the_same_settings_would_have_said_the_same(session: Path, tmp_path: Path) -> None:
    for other in (
        ["--station", str(other_station(tmp_path, "", ""))],
        ["--rules", str(shipped("config/rules/default.toml"))],
    ):
        code, out, err = linetender_replay(session, *other)
        assert code == ExitCode.FINE, err
        first, *rest = out.splitlines()
        assert first == "Nothing would have been said otherwise: 32.0 s of session."
        assert "air_lost raised: 1 ×" in rest
        assert "× real time" in err


def test_other_rules_stand_side_by_side(session: Path, tmp_path: Path) -> None:
    rules = other_rules(tmp_path, "air_lost", sooner)
    code, out, err = linetender_replay(session, "--rules", rules)
    assert code == ExitCode.FINDINGS, err
    assert re.match(r"\d+ changes in 32.0 s of session\.\n", out)
    assert "with the other settings" in out
    assert "air_lost raised: 1 ×" in out.splitlines()
    code, out, err = linetender_replay(session, "--rules", rules, "--json")
    assert (code, err) == (ExitCode.FINDINGS, "")
    (recorded,), (other,) = raise_times(out, "recorded"), raise_times(out, "other")
    assert round(recorded - other, 1) == 1.0
    assert json.loads(out)["raised"]["air_lost"] == [1, 1]
    both = linetender_replay(
        session, "--rules", rules, "--station", shipped("config/demo.toml"), "--json"
    )
    assert both == (code, out, err)


def test_another_station_that_is_not_safe_is_refused(session: Path, tmp_path: Path) -> None:
    changed = '\n[rules.change.air_lost]\nbelow = 5\ndeadband = 2\nreason = "a test of the tool"\n'
    code, out, err = linetender_replay(session, "--station", other_station(tmp_path, "", changed))
    assert (code, out) == (ExitCode.BAD_FILE, "")
    assert "air_lost would come too late" in err


def test_other_settings_that_are_not_in_order(session: Path, tmp_path: Path) -> None:
    bad = other_station(tmp_path, "normal_pa = 60", "normal_pa = true")
    code, out, err = linetender_replay(session, "--station", bad)
    assert (code, out) == (ExitCode.BAD_FILE, "")
    assert "normal_pa" in err
    assert "Traceback" not in err


def test_a_part_of_a_session(session: Path) -> None:
    code, out, _ = linetender_replay(session, "--from", "5", "--until", "15", "--json")
    part = json.loads(out)
    assert (code, part["session_s"], part["differing"], part["ended"]) == (0, 10.0, 0, True)
    code, out, _ = linetender_replay(session, "--json")
    whole = json.loads(out)
    assert 0 < part["events"] < whole["events"]
    assert part["inputs"] < whole["inputs"]


def test_differences_outside_the_part_do_not_count(session: Path) -> None:
    changed = altered(session, b'"evidence":', b'"evidence":1')
    _, out, _ = linetender_replay(changed, "--json")
    (difference,) = json.loads(out)["differences"]
    at_s = difference["since_start_ns"] / 1e9
    for arguments, expected in (
        (["--until", str(at_s - 0.1)], ExitCode.FINE),
        (["--from", str(at_s + 0.1)], ExitCode.FINE),
        (["--from", str(at_s - 0.1), "--until", str(at_s + 0.1)], ExitCode.FINDINGS),
    ):
        assert linetender_replay(changed, *arguments)[0] == expected


@pytest.mark.parametrize(
    "arguments", [["--from", "9", "--until", "9"], ["--from", "nan"], ["--until", "1e99"]]
)
def test_a_part_that_is_none(session: Path, arguments: list[str]) -> None:
    code, out, err = linetender_replay(session, *arguments)
    assert (code, out) == (ExitCode.USAGE, "")
    assert "Traceback" not in err


def test_many_files_each_with_its_finding(tmp_path: Path) -> None:
    good = tmp_path / "good.jsonl"
    good.write_bytes(recorded_live(seconds=20))
    other = tmp_path / "other.jsonl"
    other.write_bytes(good.read_bytes())
    bad = tmp_path / "bad.jsonl"
    bad.write_text("no recording")
    code, out, err = linetender_replay(good, bad, other)
    assert code == ExitCode.BAD_FILE
    lines = out.splitlines()
    assert [line.partition(": ")[0] for line in lines] == [str(good), str(other)]
    assert all(" match: 20.0 s of session." in line for line in lines)
    assert "this is no recording" in err
    assert "Traceback" not in err
    code, out, _ = linetender_replay(good, bad, other, "--json")
    objects = [json.loads(line) for line in out.splitlines()]
    assert [each["file"] for each in objects] == [str(good), str(bad), str(other)]
    assert "this is no recording" in objects[1]["error"]
    assert [each.get("differing") for each in objects] == [0, None, 0]
