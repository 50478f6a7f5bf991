"""What the memory of proof tests changes in a station: the way out, and a step of the check."""

from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from linetender.core.step_plan import StepKind
from linetender.memory.proofs import ProofRecord, store_proof
from linetender.memory.recall import remembered_in
from linetender.memory.store import open_store
from linetender.settings.load import load_station
from linetender.settings.proof_dates import ProofSeen
from linetender.settings.remembered import Remembered, remembered_of
from linetender.settings.shipped import shipped
from linetender.settings.station import Station

AT = "2026-03-01T10:00:00+00:00"


def entry(step: str, result: str, seconds: float | None = None) -> dict[str, Any]:
    return {"kind": "proof", "made_at": AT, "step": step, "result": result, "seconds": seconds}


def load(*entries: dict[str, Any]) -> Station:
    return load_station(shipped("config/demo.toml"), recall=lambda _: remembered_of(entries))


@pytest.mark.parametrize(
    ("walked_s", "exit_time_s", "opens"),
    [(None, 7.0, False), (5.0, 7.0, False), (7.5, 7.5, False), (30.0, 30.0, True)],
)
def test_the_longer_way_out_counts_and_leave_says_what_follows(
    walked_s: float | None, exit_time_s: float, opens: bool
) -> None:
    entries = () if walked_s is None else (entry("walk", "passed", walked_s),)
    station = load(*entries)
    say = {rule.id: rule.say for rule in station.plan.rules}["air_lost"]
    assert station.plan.exit_time_s == exit_time_s
    assert ("open the hood while going" in say) is opens
    assert [finding.name for finding in station.advice] == (
        ["exit_time_over_budget"] if opens else []
    )


def test_the_pre_use_check_minds_the_date_once_there_was_a_test() -> None:
    kinds = [step.kind for step in load().plan.steps]
    assert StepKind.PROOF not in kinds
    steps = load(entry("fan_plug", "passed", 2.0)).plan.steps
    assert [step.kind for step in steps[-2:]] == [StepKind.PROOF, StepKind.HEARD]
    assert steps[-2].due == "2026-05-30T10:00:00+00:00"
    assert [step for step in steps if step.kind is StepKind.PROOF] == [steps[-2]]


def test_the_interval_is_the_stations_own(tmp_path: Path) -> None:
    path = tmp_path / "demo.toml"
    text = shipped("config/demo.toml").read_text(encoding="utf-8")
    path.write_text(f"{text}\n[proof]\nevery_days = 10\n", encoding="utf-8")
    remembered = remembered_of((entry("fan_plug", "passed", 2.0),))
    station = load_station(path, recall=lambda _: remembered)
    assert station.proof_every_days == 10.0
    due = [step.due for step in station.plan.steps if step.kind is StepKind.PROOF]
    assert due == ["2026-03-11T10:00:00+00:00"]


def test_the_last_result_of_each_step_is_recalled(tmp_path: Path) -> None:
    def keep(step: str, result: str, seconds: float | None = None) -> None:
        record = ProofRecord(
            ended_at=AT, synchronised=True, step=step, result=result, seconds=seconds
        )
        store_proof(store, record)

    with open_store(tmp_path) as store:
        keep("fan_plug", "failed", 9.0)
        keep("walk", "passed", 8.0)
        keep("fan_plug", "passed", 2.0)
        keep("box_plug", "pending")
    found: Remembered = remembered_in(tmp_path, datetime.fromisoformat(AT))
    assert sorted(found.proofs, key=lambda one: one.step) == [
        ProofSeen(AT, "fan_plug", "passed", 2.0),
        ProofSeen(AT, "walk", "passed", 8.0),
    ]
    # What a recording's header holds says the same.
    assert remembered_of(found.shown).proofs == found.proofs
