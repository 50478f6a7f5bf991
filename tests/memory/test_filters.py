"""The ledger of filters: kept, gone on with, begun anew."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from linetender.airline.filter_history import FilterHistory, FilterPoint
from linetender.memory.filters import filter_in_place, filters_in, fit_filter, keep_point
from linetender.memory.store import MemoryFault, open_store

MARCH_S = datetime(2031, 3, 3, 9, 0, tzinfo=UTC).timestamp()
BARE = FilterPoint(MARCH_S, False, 0.5)
WHOLE = FilterPoint(MARCH_S + 3 * 3600.0, True, 1.25, 60.0, 41.5, 2790.0, 19.5)


def test_a_new_filter_begins_anew_and_the_old_one_stays(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        assert (filter_in_place(store), filters_in(store)) == (None, [])
        first = fit_filter(store, MARCH_S, synchronised=False, is_new=False)
        keep_point(store, first, BARE)
        keep_point(store, first, WHOLE)
        later = MARCH_S + 60 * 86_400.0
        second = fit_filter(store, later, synchronised=True, is_new=True, label="H13")
        assert filter_in_place(store) == second
    with open_store(tmp_path) as store:
        old, new = filters_in(store)
    assert old == FilterHistory(MARCH_S, False, (BARE, WHOLE), "")
    assert old.hours == 1.75
    assert new == FilterHistory(later, True, (), "H13")


def test_a_stretch_that_goes_on_is_one_point(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        filter_row = fit_filter(store, MARCH_S, synchronised=True, is_new=True)
        row = keep_point(store, filter_row, BARE)
        assert keep_point(store, filter_row, WHOLE, row) == row
        assert filters_in(store)[0].points == (WHOLE,)


@pytest.mark.parametrize("hours", [-0.1, float("nan")])
def test_hours_that_are_none_are_refused(tmp_path: Path, hours: float) -> None:
    with open_store(tmp_path) as store:
        filter_row = fit_filter(store, MARCH_S, synchronised=True, is_new=True)
        with pytest.raises(MemoryFault):
            keep_point(store, filter_row, FilterPoint(MARCH_S, True, hours))
        assert filters_in(store)[0].points == ()


def test_a_point_needs_its_filter(tmp_path: Path) -> None:
    with open_store(tmp_path) as store, pytest.raises(MemoryFault):
        keep_point(store, 7, WHOLE)
