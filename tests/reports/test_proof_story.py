"""Proof tests, as a report tells them."""

from typing import Any

from linetender.reports.proof_story import proof_lines


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
