"""Killed at random instants, the memory is whole: the last commit kept or absent, never torn.

A child opens the memory (from nothing, so that the making of the schema is hit too)
and stores pairs of rows, one transaction each, saying each number after its commit. It
is killed with SIGKILL at a random instant. What it said must be there; one more may be.
The same with the ledger of filters, through the calls by which the daemon keeps it.
"""

import random
import select
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import settings

from linetender.airline.filter_history import FilterHistory, FilterPoint
from linetender.memory.filters import filters_in
from linetender.memory.store import FILE_NAME, open_store

CHILD = """
import sys
from pathlib import Path
from linetender.memory.store import open_store

print("begun", flush=True)
with open_store(Path(sys.argv[1])) as store:
    row = store.rows("SELECT count(*) FROM draft")[0]
    number = row[0] // 2
    while True:
        number += 1
        with store.changing() as connection:
            for half in "ab":
                connection.execute(
                    "INSERT INTO draft VALUES (?, ?, ?)", (f"{number}{half}", "then", "x" * 2000)
                )
        print(number, flush=True)
"""

LEDGER_CHILD = """
import sys
from pathlib import Path
from linetender.airline.filter_history import FilterPoint
from linetender.memory.filters import fit_filter, keep_point
from linetender.memory.store import open_store

print("begun", flush=True)
with open_store(Path(sys.argv[1])) as store:
    kept = fit_filter(store, 0.0, synchronised=True, is_new=True)
    said = 1
    print(said, flush=True)
    day = 0
    while True:
        day += 1
        row = None
        for grown in range(1, 5):
            point = FilterPoint(day * 86400.0, True, grown / 8.0, 60.0, 40.0 + grown)
            row = keep_point(store, kept, point, row)
            said += 1
            print(said, flush=True)
            if grown == 1:
                kept = fit_filter(
                    store, day * 86400.0, synchronised=True, is_new=True, takes_since=True
                )
                said += 1
                print(said, flush=True)
"""
"""Each day a stretch begins, a new filter takes it over, and it grows: five transactions."""

CUTS = 200 if settings.get_current_profile_name() == "long" else 20
LONGEST_S = 0.06
"""From the child's first word: opening takes about a quarter of that."""


def kill_after(folder: Path, delay_s: float, program: str = CHILD) -> int:
    """Let the child work for a while, kill it, and return the last number that it said."""
    child = subprocess.Popen(
        [sys.executable, "-c", program, str(folder)], stdout=subprocess.PIPE, text=True
    )
    with child:
        assert child.stdout is not None
        assert child.stdout.readline() == "begun\n"
        select.select([], [], [], delay_s)
        child.send_signal(signal.SIGKILL)
        said = child.stdout.read().split("\n")
    assert child.returncode == -signal.SIGKILL, "the child ended by itself"
    whole = [line for line in said[:-1] if line]
    return int(whole[-1]) if whole else 0


@pytest.mark.timeout(300)
def test_killed_at_random_instants(tmp_path: Path) -> None:
    seed = random.SystemRandom().randrange(2**32) if CUTS > 20 else 20_310
    drawn = random.Random(seed)
    reached = []
    for cut in range(CUTS):
        # Every fourth begins anew, so that the first opening is cut as well.
        folder = tmp_path / str(cut // 4)
        before = rows_of(folder)
        said = kill_after(folder, drawn.uniform(0.0, LONGEST_S))
        after = rows_of(folder)
        where = f"seed {seed}, cut {cut}"
        assert after in (max(said, before), max(said, before) + 1), where
        reached.append(after)
    assert max(reached) > 3, "no cut came while the child was storing"


def rows_of(folder: Path) -> int:
    """Check the whole file and return how many transactions it holds."""
    if not (folder / FILE_NAME).exists():
        return 0
    with open_store(folder) as store:
        assert [row[0] for row in store.rows("PRAGMA integrity_check")] == ["ok"]
        names = [row[0] for row in store.rows("SELECT name FROM draft")]
    count = len(names) // 2
    assert sorted(names) == sorted(
        f"{number}{half}" for number in range(1, count + 1) for half in "ab"
    )
    return count


@pytest.mark.timeout(300)
def test_the_ledger_of_filters_killed_at_random_instants(tmp_path: Path) -> None:
    seed = random.SystemRandom().randrange(2**32) if CUTS > 20 else 20_311
    drawn = random.Random(seed)
    reached = []
    for cut in range(CUTS):
        folder = tmp_path / str(cut)
        said = kill_after(folder, drawn.uniform(0.0, 3.0 * LONGEST_S), LEDGER_CHILD)
        found = ledger_in(folder)
        assert found in (ledger_after(said), ledger_after(said + 1)), f"seed {seed}, cut {cut}"
        reached.append(said)
    assert len(set(reached)) > 5, "no cut came while the child was storing"


def ledger_in(folder: Path) -> list[FilterHistory]:
    """Check the whole file and return the filters in it."""
    if not (folder / FILE_NAME).exists():
        return []
    with open_store(folder) as store:
        assert [row[0] for row in store.rows("PRAGMA integrity_check")] == ["ok"]
        return filters_in(store)


def ledger_after(transactions: int) -> list[FilterHistory]:
    """Return what the child has stored after so many transactions."""
    if transactions == 0:
        return []
    days, more = divmod(transactions - 1, 5)
    filters = [FilterHistory(0.0, True)]
    filters += [
        FilterHistory(day * 86400.0, True, (stretch(day, 4),)) for day in range(1, days + 1)
    ]
    if more == 1:
        last = filters[-1]
        filters[-1] = replace(last, points=(*last.points, stretch(days + 1, 1)))
    elif more > 1:
        today = stretch(days + 1, more - 1)
        filters.append(FilterHistory(today.began_s, True, (today,)))
    return filters


def stretch(day: int, grown: int) -> FilterPoint:
    """Return the stretch of a day, as far as it has grown."""
    return FilterPoint(day * 86400.0, True, grown / 8.0, 60.0, 40.0 + grown)
