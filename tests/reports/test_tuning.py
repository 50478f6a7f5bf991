"""Tuning on whole sessions: what is counted, how it is weighed, what is drawn."""

import xml.etree.ElementTree as ElementTree
from itertools import pairwise
from pathlib import Path

import pytest

from linetender.airline.alarm_budget import AlarmBudget
from linetender.core.drive import drive
from linetender.core.events import AlarmChanged, Event
from linetender.core.inputs import By, Command, Verb
from linetender.core.watch import Watch
from linetender.recording.errors import Fault, RecordingError
from linetender.reports.tune_plot import TunePlot, draw_tuning
from linetender.reports.tune_table import curve, table
from linetender.reports.tuning import (
    Combination,
    Counts,
    Grid,
    Outcome,
    counted,
    counted_all,
    frontier,
    outcomes,
    preferred,
)
from linetender.settings.rule_budget import RuleBudget
from reports.sessions_to_report import PLAN, at, not_worn, pressure, recorded, worn

GRID = Grid((50.0, 65.0, 80.0), (10.0,), (1.0, 2.0, 4.0), 5.0, killer=True)


def dipping(dips: list[tuple[float, float, float]], until_s: float) -> list[tuple[float, float]]:
    """Return a pressure five times a second: 64 Pa, and in dips (from, to) another (Pa)."""
    made = []
    for tick in range(round(until_s * 5)):
        now_s = tick / 5
        here = [pa for begin, end, pa in dips if begin <= now_s < end]
        made.append((now_s, here[0] if here else 64.0))
    return made


DIPS = [(20.0, 23.0, 20.0), (40.0, 45.0, 12.0), (70.0, 75.0, 12.0)]
"""Air (the square root of the pressure over that of 64 Pa) of 56, 43 and 43 %."""


@pytest.fixture
def session(tmp_path: Path) -> tuple[Path, ...]:
    events = (worn(10.0), not_worn(65.0))
    path = tmp_path / "dips.jsonl"
    return (recorded(path, pressure(dipping(DIPS, 90.0)), events, until_s=90.0),)


def test_each_dip_counts_where_it_is_deep_and_long_enough_and_the_hood_was_worn(
    session: tuple[Path, ...],
) -> None:
    found = counted(session, GRID)
    assert found == Counts((1, 1, 1, 2, 2, 1, 2, 2, 1), 55.0, 1, 0)


def test_the_present_limits_count_as_the_core_decides(session: tuple[Path, ...]) -> None:
    inputs = [
        *pressure(dipping(DIPS, 90.0)),
        Command(at(10.0), Verb.START, By.WEARER),
        Command(at(65.0), Verb.END, By.WEARER),
    ]
    said: list[Event] = []
    drive(sorted(inputs, key=lambda item: item.arrived_ns), at(90.0), Watch(PLAN, 0), said.extend)
    raised = [e for e in said if isinstance(e, AlarmChanged) and e.after == "unacknowledged"]
    present = GRID.combinations().index(Combination(65.0, 10.0, 2.0))
    assert counted(session, GRID).alarms[present] == len(raised) == 2


def test_several_processes_count_what_one_does(session: tuple[Path, ...]) -> None:
    sessions = [session, session, session]
    told: list[tuple[int, int]] = []
    alone = counted_all(sessions, GRID, processes=1)
    together = counted_all(sessions, GRID, lambda done, size: told.append((done, size)), 2)
    size = session[0].stat().st_size
    assert together == alone == Counts((3, 3, 3, 6, 6, 3, 6, 6, 3), 165.0, 3, 0)
    assert told == [(size, 3 * size), (2 * size, 3 * size), (3 * size, 3 * size)]


def test_a_damaged_recording_is_told_from_another_process(
    session: tuple[Path, ...], tmp_path: Path
) -> None:
    bad = tmp_path / "bad.jsonl"
    bad.write_bytes(session[0].read_bytes().replace(b"64", b"65", 1))
    with pytest.raises(RecordingError, match=r"bad\.jsonl") as caught:
        counted_all([session, (bad,)], GRID, processes=2)
    assert (caught.value.fault, caught.value.path) == (Fault.ALTERED, bad)


def weighed() -> tuple[Outcome, ...]:
    """Weigh invented counts: a fan that falls to half its speed in 3 s, and 12 s of air."""
    budget = RuleBudget("air_lost", 0.65, AlarmBudget(12.0, 1.6, 0.1, 2.0))
    counts = Counts((4, 2, 1, 6, 5, 2, 30, 14, 9), 72_000.0, 10, 0)
    return outcomes(GRID, counts, budget, 3.0)


def test_a_stopped_fan_is_heard_after_coast_down_sensing_and_delay() -> None:
    # 1/(1 + t/3 s) falls to 0.5 in 3 s, to 0.65 in 1.615 s, to 0.8 in 0.75 s, by hand.
    heard_s = [one.heard_after_s for one in weighed()]
    assert heard_s == [4.1, 5.1, 7.1, 2.715, 3.715, 5.715, 1.85, 2.85, 4.85]
    assert [one.spare_s for one in weighed()][:3] == [2.9, 1.9, -0.1]


def test_the_frontier_gives_fewer_alarms_for_more_delay() -> None:
    best = frontier(weighed())
    assert [(one.heard_after_s, one.alarms) for one in best] == [
        (1.85, 30),
        (2.715, 6),
        (3.715, 5),
        (4.1, 4),
        (5.1, 2),
        (7.1, 1),
    ]
    assert all(a.alarms > b.alarms for a, b in pairwise(best))


def test_what_is_preferred_fits_into_the_budget_and_leaves_the_way_out() -> None:
    found = weighed()
    assert [one.alarms for one in preferred(found, None)] == [2, 2, 4, 5, 6, 9, 14, 30]
    assert preferred(found, None)[0].heard_after_s == 5.1
    assert preferred(found, 3.0)[0].alarms == 5
    assert preferred(found, 60.0) == preferred(found, None), "none leaves that much time"


def test_the_tables_tell_each_combination_and_the_curve_the_best() -> None:
    found = weighed()
    lines = table(GRID, found, found[4], 80)
    assert lines[2:] == [
        "    limit     1 s     2 s     4 s",
        "     50 %       4       2     (1)",
        "     65 %       6      5*       2",
        "     80 %      30      14       9",
    ]
    told = curve(found, 7.0)[2:]
    assert told[0] == "    1.9 s |" + "#" * 30 + "     30 (80 %, 1 s)"
    assert told[-1].endswith("1 (50 %, 4 s) too late")
    assert all(len(line) <= 80 for line in [*lines, *told])


def test_the_plot_is_one_svg_with_a_mark_for_each_combination() -> None:
    found = weighed()
    text = draw_tuning(TunePlot("air_lost <bench>", found, found[4], found[1], 7.0))
    drawing = ElementTree.fromstring(text)
    kinds = [part.get("class") for part in drawing.iter()]
    in_legend = {"dot": 1, "best": 1, "present": 1, "suggested": 1}
    on_plot = {kind: kinds.count(kind) - count for kind, count in in_legend.items()}
    assert on_plot == {"dot": 3, "best": 6, "present": 1, "suggested": 1}
    assert "http" not in text.replace("http://www.w3.org/2000/svg", "")
