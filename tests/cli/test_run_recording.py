"""Where `run` records, and that a disk that cannot be written to keeps nobody from watching."""

import re
from pathlib import Path

import pytest

from linetender.cli.run_recording import recorder_of, upkeep_of
from linetender.core.instants import SECOND_NS
from linetender.recording.errors import RecordingError
from linetender.recording.lines import SegmentReason
from linetender.recording.upkeep import Upkeep
from linetender.recording.writer import RecordingWriter
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender.settings.station import Station
from recording.sessions import Content, header, pressure
from recording.test_failing_disk import wait_until


def station_with(folder: Path, recording: str) -> Station:
    path = folder / "station.toml"
    path.write_text(shipped("config/demo.toml").read_text(encoding="utf-8") + recording)
    return load_station(path)


def test_without_a_folder_nothing_is_recorded(tmp_path: Path) -> None:
    station = station_with(tmp_path, "")
    assert (recorder_of(station, None), upkeep_of(station, None)) == (None, None)


def test_the_folder_of_the_station_file_is_made_and_its_keys_are_followed(tmp_path: Path) -> None:
    table = '\n[recording]\ndirectory = "a/sessions"\nrotate_minutes = 2\nrotate_mb = 3\n'
    station = station_with(tmp_path, table)
    writer = recorder_of(station, None)
    assert writer is not None
    writer.segment(header())
    assert writer.segment_due(119 * SECOND_NS) is None
    assert writer.segment_due(120 * SECOND_NS) is SegmentReason.ROTATION
    writer.close(120 * SECOND_NS)
    assert writer.path.parent == tmp_path.resolve() / "a" / "sessions"
    assert re.fullmatch(r"demo-\d{4}-\d\d-\d\dT\d{6}\.jsonl", writer.path.name)
    assert writer.path.parent.stat().st_mode & 0o777 == 0o700
    assert Content(writer.path).headers == [header()]


def test_upkeep_leaves_the_file_being_written_alone(tmp_path: Path) -> None:
    station = station_with(tmp_path, '\n[recording]\ndirectory = "sessions"\n')
    writer = recorder_of(station, None)
    upkeep = upkeep_of(station, writer)
    assert isinstance(writer, RecordingWriter)
    assert isinstance(upkeep, Upkeep)
    writer.segment(header())
    (writer.path.parent / "demo-2031-05-01T080000.jsonl").write_bytes(b"")
    upkeep.turn()
    writer.close(SECOND_NS)
    names = sorted(path.name for path in writer.path.parent.iterdir())
    assert names == sorted([writer.path.name, "demo-2031-05-01T080000.jsonl.gz"])


def test_a_folder_that_cannot_be_made_is_a_gap_and_no_refusal(tmp_path: Path) -> None:
    (tmp_path / "sessions").write_text("a file where a folder should be")
    writer = recorder_of(station_with(tmp_path, '\n[recording]\ndirectory = "sessions"\n'), None)
    assert writer is not None
    writer.segment(header())
    writer.inputs([pressure(1)])
    writer.advance(SECOND_NS)
    wait_until(lambda: writer.fault is not None)
    writer.close(SECOND_NS)
    assert "sessions" in (writer.fault or "")


def test_a_file_named_by_hand_must_be_possible(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match="cannot be created"):
        recorder_of(station_with(tmp_path, ""), tmp_path / "none" / "s.jsonl")
