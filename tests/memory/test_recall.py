"""From the file to what the settings take, and what is to be made again."""

from datetime import datetime, timedelta
from pathlib import Path

import pytest
from msgspec import structs

from linetender.memory.calibrations import store_calibration
from linetender.memory.recall import remembered_in
from linetender.memory.store import FILE_NAME, MemoryFault, open_store
from linetender.memory.taught_pressures import StateSeen, store_taught, withdraw_all
from linetender.settings.remembered import NOTHING
from memory.memory_records import When, calibration, taught

EARLY = When("2031-01-01T10:00:00+01:00", "2031-07-01T10:00:00+01:00")
NOW = datetime.fromisoformat("2031-04-01T12:00:00+02:00")


def test_where_there_is_no_memory_none_is_made(tmp_path: Path) -> None:
    assert remembered_in(tmp_path / "shed", NOW) == NOTHING
    assert list(tmp_path.iterdir()) == []


def test_the_record_in_force_comes_back_as_an_element(tmp_path: Path) -> None:
    with open_store(tmp_path / "shed") as store:
        store_calibration(store, calibration())
        states = {"duct_pinched": StateSeen(16.0, 0.5, 49.0)}
        store_taught(store, structs.replace(taught(60.0, EARLY), states=states))
    remembered = remembered_in(tmp_path / "shed", NOW)
    assert remembered.calibrated is not None
    assert remembered.taught is not None
    assert remembered.calibrated.element == calibration().element()
    assert remembered.taught.normal_pa == 60.0
    # How a pinched duct looked was taught, and how one that is off was not.
    assert remembered.taught.pinched_percent == 49.0
    assert remembered.taught.duct_off_percent is None
    assert remembered.expired == ()
    # Oldest first, in plain data for headers: the points stay in the memory.
    assert [entry["kind"] for entry in remembered.shown] == ["taught", "calibrated"]
    assert all("points" not in entry for entry in remembered.shown)


def test_what_has_expired_stays_in_force_and_is_told(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store_calibration(store, calibration())
        store_taught(store, taught(60.0, EARLY))
    late = NOW + timedelta(days=92)
    remembered = remembered_in(tmp_path, late)
    assert remembered.taught is not None
    assert remembered.expired == (
        "The line was taught on 2031-01-01, good until 2031-07-01: do it again soon.",
    )


def test_what_was_withdrawn_is_forgotten(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store_calibration(store, calibration())
        store_taught(store, taught())
        withdraw_all(store, NOW.isoformat())
    assert remembered_in(tmp_path, NOW) == NOTHING


def test_a_damaged_memory_is_told(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).write_bytes(b"spoilt" * 1000)
    with pytest.raises(MemoryFault, match="damaged"):
        remembered_in(tmp_path, NOW)
