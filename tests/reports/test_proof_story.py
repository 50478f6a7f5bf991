"""Proof tests, as a report tells them."""

from pathlib import Path
from typing import Any

from msgspec.structs import replace

from linetender.reports.proof_story import proof_lines, proof_summary
from linetender.reports.session_reading import read_session
from linetender.reports.story import story
from reports.sessions_to_report import recorded


def entry(step: str, result: str, **more: Any) -> dict[str, Any]:
    return {"kind": "proof", "made_at": "2026-03-01T10:00:00+00:00", "step": step} | {
        "result": result,
        **more,
    }


def test_each_step_is_told_with_its_day_and_figures() -> None:
    entries = (
        {"kind": "taught", "made_at": "2026-01-01T10:00:00+00:00"},
        entry("fan_plug", "passed", seconds=2.94, limit_s=4.2),
        entry("walk", "failed", seconds=12.0, limit_s=None),
        entry("duct_pinched", "skipped", seconds=None),
    )
    assert proof_lines(entries) == [
        "Proof test of 2026-03-01, fan plug: passed, sound after 2.9 s, 4.2 s at most.",
        "Proof test of 2026-03-01, walk: failed, out in 12.0 s.",
        "Proof test of 2026-03-01, duct pinched: skipped.",
    ]


def test_where_none_was_done_that_is_said() -> None:
    assert proof_lines(()) == ["No proof test of the line is recorded."]


def test_the_terminal_has_one_line_for_all_steps() -> None:
    entries = (
        {"kind": "taught", "made_at": "2026-01-01T10:00:00+00:00"},
        entry("fan_plug", "passed", seconds=2.94, limit_s=4.2),
        entry("walk", "failed", seconds=12.0) | {"made_at": "2026-03-02T10:00:00+00:00"},
    )
    assert proof_summary(entries) == (
        "Proof test of the line, last on 2026-03-02: fan plug passed, walk failed."
    )
    assert proof_summary(entries[:1]) == ""


def test_the_story_tells_it_only_where_there_was_one(tmp_path: Path) -> None:
    facts = read_session((recorded(tmp_path / "a.jsonl", [], until_s=2),)).facts
    with_proof = replace(facts, calibrations=(entry("walk", "passed", seconds=12.0),))
    without, told = (story(one, lambda _: None) for one in (facts, with_proof))
    line = "Proof test of the line, last on 2026-03-01: walk passed."
    assert [one for one in told if one not in without] == [line]
    assert [one for one in without if "roof test" in one] == []
