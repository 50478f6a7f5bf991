"""The fault campaign: every fault of the table is told in time, and nothing else is."""

import ast
import re
from collections import Counter
from functools import cache
from pathlib import Path

import pytest

from faults.campaign import main
from faults.fault_run import Outcome, run_fault
from faults.fault_table import Fault, Kind, Level, Stage, load_faults
from faults.injectors import INJECTORS
from linetender.core.stages import Priority

CHECKOUT = Path(__file__).resolve().parents[2]
BENCH = CHECKOUT / "tests/system/virtual_pi/guest/bench.py"
NO_FAULTS = {
    "install",
    "power_on",
    "begin_the_check",
    "walls",
    "finish_the_check",
    "use",
    "end",
    "take_back",
    "run",
}
"""Parts of the bench that break nothing."""

FAULTS = load_faults()
BY_LEVEL = {level: [fault for fault in FAULTS if fault.row.level is level] for level in Level}


@pytest.mark.parametrize("fault", BY_LEVEL[Level.VIRTUAL], ids=lambda fault: fault.id)
def test_a_fault_is_told_in_time_and_nothing_else_is(fault: Fault) -> None:
    assert run_fault(fault).complaints(fault) == []


def test_the_table_is_as_wide_as_it_is_said_to_be() -> None:
    assert len(BY_LEVEL[Level.VIRTUAL]) >= 100
    assert {fault.row.kind for fault in FAULTS} == set(Kind)
    stages = Counter(fault.case.stage for fault in BY_LEVEL[Level.VIRTUAL])
    assert all(stages[stage] >= 10 for stage in (Stage.IDLE, Stage.PRE_USE, Stage.WORN))


def test_no_injector_is_unused_or_unknown() -> None:
    assert {fault.row.inject for fault in BY_LEVEL[Level.VIRTUAL]} == set(INJECTORS)


@cache
def functions_of(path: Path) -> frozenset[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return frozenset(node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef))


@pytest.mark.parametrize("fault", BY_LEVEL[Level.LIVE], ids=lambda fault: fault.id)
def test_the_test_that_injects_a_live_fault_is_there(fault: Fault) -> None:
    file, _, name = fault.row.inject.partition("::")
    assert name in functions_of(CHECKOUT / file)


def test_every_fault_of_the_virtual_pi_is_listed() -> None:
    parts = {
        name
        for name in functions_of(BENCH) - NO_FAULTS
        if not name.startswith("_") and re.search(rf"self\.{name},", BENCH.read_text("utf-8"))
    }
    assert {fault.row.inject for fault in BY_LEVEL[Level.GUEST]} == {*parts, "crash_pid_1"}


AIR_LOST = next(fault for fault in FAULTS if fault.id == "fan_stop.wearer_side.worn")
TOLD = [("air_lost", Priority.HIGH, 3.2)]


@pytest.mark.parametrize(
    ("outcome", "complaint"),
    [
        (Outcome(TOLD, 3.2, 9.0), None),
        (Outcome(), "air_lost was expected within 5 s and came never"),
        (Outcome(TOLD, 5.5, 9.0), "air_lost was expected within 5 s and came after 5.5 s"),
        (Outcome(TOLD, 3.2), "it was to be over within 20 s and was never"),
        (Outcome(TOLD, 3.2, 20.5), "it was to be over within 20 s and was after 20.5 s"),
        (
            Outcome(TOLD, 3.2, None, cleared_early=True),
            "air_lost was called over while the fault was there",
        ),
        (
            Outcome([*TOLD, ("blind", Priority.HIGH, 4.0)], 3.2, 9.0),
            "blind sounded after 4.0 s",
        ),
        (Outcome(TOLD, 3.2, 9.0, before=["help"]), "sounded before the fault: help"),
    ],
)
def test_what_is_not_as_expected_is_said(outcome: Outcome, complaint: str | None) -> None:
    assert outcome.complaints(AIR_LOST) == ([] if complaint is None else [complaint])


def test_the_printed_table(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["fan_stop.wearer_side.worn"]) == 0
    head, line, end = capsys.readouterr().out.splitlines()
    assert head.split() == ["id", "expected", "got"]
    assert re.fullmatch(
        r"fan_stop\.wearer_side\.worn +air_lost high in 5 s +"
        r"air_lost 3\.\d s; over \d+\.\d s after mending",
        line,
    )
    assert end == "1 faults, 1 of them injected here: 0 not as expected"
