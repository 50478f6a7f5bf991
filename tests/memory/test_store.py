"""The file: how it is opened, brought up to date, and refused."""

import os
import sqlite3
import threading
from pathlib import Path

import pytest

from linetender.memory.calibrations import calibration_in_force, store_calibration
from linetender.memory.drafts import draft, drop_draft, keep_draft
from linetender.memory.migrations import MIGRATIONS, SCHEMA
from linetender.memory.store import APPLICATION_ID, FILE_NAME, MemoryFault, open_store
from linetender.memory.taught_pressures import store_taught, taught_in_force, withdraw_all
from memory.memory_records import calibration, taught

# Made when the first script was all there was; see README.md beside it.
OLD_FILE = Path(__file__).with_name("schema_1.sqlite3")


def pragma(path: Path, name: str) -> object:
    with sqlite3.connect(path) as connection:
        value = connection.execute(f"PRAGMA {name}").fetchone()[0]
    connection.close()
    return value


def test_a_new_file_has_the_present_schema_and_our_mark(tmp_path: Path) -> None:
    with open_store(tmp_path / "deep" / "state") as store:
        assert store.schema == SCHEMA == len(MIGRATIONS)
        assert [row[0] for row in store.rows("PRAGMA synchronous")] == [2]  # FULL
        assert [row[0] for row in store.rows("PRAGMA foreign_keys")] == [1]
    path = tmp_path / "deep" / "state" / FILE_NAME
    assert pragma(path, "application_id") == APPLICATION_ID
    assert pragma(path, "journal_mode") == "wal"


def test_what_is_stored_comes_back_and_the_newest_is_in_force(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        assert (calibration_in_force(store), taught_in_force(store)) == (None, None)
        for k_l_min, normal_pa in ((26.0, 59.0), (27.0, 60.0)):
            store_calibration(store, calibration(k_l_min))
            store_taught(store, taught(normal_pa))
    with open_store(tmp_path) as store:
        assert calibration_in_force(store) == calibration(27.0)
        assert taught_in_force(store) == taught(60.0)


def test_withdrawn_records_are_out_of_force_and_stay(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store_calibration(store, calibration())
        store_taught(store, taught())
        assert withdraw_all(store, "2031-04-01T00:00:00+01:00") == 2
        assert (calibration_in_force(store), taught_in_force(store)) == (None, None)
        assert withdraw_all(store, "2031-04-02T00:00:00+01:00") == 0
        rows = store.rows(
            "SELECT withdrawn_at FROM calibration UNION ALL SELECT withdrawn_at FROM taught"
        )
        assert [row[0] for row in rows] == ["2031-04-01T00:00:00+01:00"] * 2


def test_a_draft_is_replaced_and_dropped(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        assert draft(store, "calibration") is None
        keep_draft(store, "calibration", "2031-03-04T10:00:00+01:00", b'{"points": 1}')
        keep_draft(store, "calibration", "2031-03-04T10:00:00+01:00", b'{"points": 2}')
        assert draft(store, "calibration") == b'{"points": 2}'
        drop_draft(store, "calibration")
        assert draft(store, "calibration") is None


@pytest.mark.parametrize(
    "change",
    [
        {"k_l_min": float("nan")},
        {"k_l_min": -1.0},
        {"exponent": 0.4},
        {"zero_pa": float("nan")},
        {"pressure_factor": 0.0},
    ],
)
def test_what_no_line_can_be_is_refused_by_the_file_itself(
    tmp_path: Path, change: dict[str, float]
) -> None:
    record = calibration()
    fields = {name: getattr(record, name) for name in record.__struct_fields__}
    with open_store(tmp_path) as store:
        with pytest.raises(MemoryFault, match="holds what it should not"):
            store_calibration(store, type(record)(**{**fields, **change}))
        assert calibration_in_force(store) is None


def test_a_failure_inside_a_change_leaves_nothing(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        with pytest.raises(KeyError), store.changing() as connection:
            connection.execute("INSERT INTO draft VALUES ('a', 'b', 'c')")
            raise KeyError
        assert store.rows("SELECT * FROM draft") == []
        keep_draft(store, "a", "b", b"c")  # and the store goes on


def test_nothing_counts_as_stored_on_a_disk_that_turned_read_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class ReadOnly:
        f_flag = os.statvfs(tmp_path).f_flag | os.ST_RDONLY

    with open_store(tmp_path) as store:
        store_taught(store, taught(59.0))
        with monkeypatch.context() as turned:
            turned.setattr(os, "statvfs", lambda _: ReadOnly)
            with pytest.raises(MemoryFault, match="read-only"):
                store_taught(store, taught(60.0))
        assert taught_in_force(store) == taught(59.0)
        store_taught(store, taught(61.0))  # mounted anew
        assert taught_in_force(store) == taught(61.0)


def test_an_old_file_is_brought_up_to_date_with_all_it_holds(tmp_path: Path) -> None:
    path = tmp_path / FILE_NAME
    path.write_bytes(OLD_FILE.read_bytes())
    assert pragma(path, "user_version") == 1
    with open_store(tmp_path) as store:
        assert store.schema == SCHEMA
        assert calibration_in_force(store) == calibration(27.0)
        assert taught_in_force(store) == taught(60.0)
        keep_draft(store, "calibration", "2031-03-04T10:00:00+01:00", b"{}")


def test_all_who_open_a_new_file_at_once_succeed(tmp_path: Path) -> None:
    """Many files: a file in the making was now and then taken for another program's."""
    schemas: list[int] = []

    def opened(folder: Path) -> None:
        with open_store(folder) as store:
            schemas.append(store.schema)

    for number in range(40):
        folder = tmp_path / str(number)
        threads = [threading.Thread(target=opened, args=(folder,)) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(30)
    assert schemas == [SCHEMA] * 320


def test_files_that_are_not_ours_are_refused_untouched(tmp_path: Path) -> None:
    path = tmp_path / FILE_NAME
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
    connection.close()
    before = path.read_bytes()
    with pytest.raises(MemoryFault, match="another program's database"):
        open_store(tmp_path)
    assert path.read_bytes() == before


def test_a_file_of_a_newer_version_is_refused(tmp_path: Path) -> None:
    with open_store(tmp_path) as store, store.changing() as connection:
        connection.execute(f"PRAGMA user_version = {SCHEMA + 1}")
    with pytest.raises(MemoryFault, match=f"schema {SCHEMA + 1}; this one knows {SCHEMA}"):
        open_store(tmp_path)


@pytest.mark.parametrize("rubbish", [b"not a database at all" * 100, b"SQLite format 3\x00" * 64])
def test_rubbish_is_refused_with_what_to_do(tmp_path: Path, rubbish: bytes) -> None:
    (tmp_path / FILE_NAME).write_bytes(rubbish)
    with pytest.raises(MemoryFault, match="Move it away"):
        open_store(tmp_path)


def test_a_folder_in_the_files_place_is_told(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).mkdir()
    with pytest.raises(MemoryFault, match="cannot be used"):
        open_store(tmp_path)
