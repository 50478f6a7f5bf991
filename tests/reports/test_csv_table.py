"""Tables opened by a reader that is none of ours: pandas."""

import io
from pathlib import Path

import pandas as pd
import pytest

from linetender.core.alarm_table import AlarmState
from linetender.core.cause import Cause
from linetender.core.events import AlarmChanged, BaselineSet, CauseNamed
from linetender.core.inputs import Contact, ContactState, Fact, reading
from linetender.core.signals import Signal
from linetender.core.stages import Priority
from linetender.recording.lines import EndReason, SegmentReason
from linetender.reports.csv_table import EVENT_COLUMNS, READING_COLUMNS, export_session
from reports.sessions_to_report import at, header, pressure, recorded, segment_bytes, spo2, worn

README = Path(__file__).resolve().parents[2] / "daemon/linetender/reports/README.md"


def exported(*files: Path, is_derived: bool = False) -> tuple[pd.DataFrame, pd.DataFrame]:
    readings, events = io.StringIO(newline=""), io.StringIO(newline="")
    export_session(files, readings, events, is_derived=is_derived)
    tables = []
    for text in (readings, events):
        text.seek(0)
        tables.append(pd.read_csv(text))
    return tables[0], tables[1]


def test_readings_come_back_as_they_were(tmp_path: Path) -> None:
    inputs = [
        *spo2([(0.25, 97), (1.25, None), (2.25, 95)]),
        reading(at(3), Signal.SPO2_PERCENT, 90.0, doubt="weak, moving pulse", source="oximeter"),
    ]
    readings, _ = exported(recorded(tmp_path / "a.jsonl", inputs, until_s=4))
    assert tuple(readings.columns) == READING_COLUMNS
    assert readings["time_s"].tolist() == [0.25, 1.25, 2.25, 3.0]
    assert readings["value"].isna().tolist() == [False, True, False, False]
    assert readings["value"].dropna().tolist() == [97.0, 95.0, 90.0]
    assert readings["quality"].tolist() == ["good", "bad", "good", "degraded"]
    assert readings["reason"].fillna("").tolist() == ["", "off_finger", "", "weak, moving pulse"]
    assert set(readings["unit"]) == {"%"} and set(readings["segment"]) == {1}
    at_wall = pd.to_datetime(readings["wall_time"])
    assert at_wall[1] == pd.Timestamp("2031-05-01T08:00:01.25Z")


def test_without_a_known_time_of_day_the_column_is_empty(tmp_path: Path) -> None:
    path = recorded(tmp_path / "a.jsonl", spo2([(1, 97)]), until_s=2, synchronised=False)
    readings, _ = exported(path)
    assert readings["wall_time"].isna().all()


def test_air_as_it_was_judged_is_told_on_demand(tmp_path: Path) -> None:
    inputs = pressure([(0, 64), (1, 36), (2, None)])
    path = recorded(tmp_path / "a.jsonl", inputs, until_s=3)
    assert set(exported(path)[0]["signal"]) == {"duct_pressure_pa"}
    readings, _ = exported(path, is_derived=True)
    flow = readings[readings["signal"] == "airflow_l_min"]
    percent = readings[readings["signal"] == "air_percent_of_baseline"]
    assert flow["value"].tolist()[:2] == [240.0, 180.0] and flow["value"].isna().tolist()[2]
    assert percent["value"].tolist()[:2] == [100.0, 75.0]
    assert set(flow["source"]) == {"derived"} and set(flow["unit"]) == {"L/min"}
    # 5 % of the flow, one standard deviation, where there is a flow; nothing else has one.
    assert flow["uncertainty"].tolist()[:2] == [12.0, 9.0]
    assert flow["uncertainty"].isna().tolist()[2]
    assert readings.loc[readings["signal"] != "airflow_l_min", "uncertainty"].isna().all()


def test_events_and_what_changed(tmp_path: Path) -> None:
    inputs = [
        Contact(at(1), "answer", ContactState.OPEN),
        Contact(at(2), "answer", ContactState.OPEN),
        Contact(at(3), "answer", ContactState.CLOSED),
        Fact(at(4), "device_failed", True, "air"),
    ]
    events = [
        worn(0.5),
        BaselineSet(at(0.6), Signal.AIRFLOW_L_MIN, 231.0, "good_air"),
        AlarmChanged(
            at(5), 1, "air_lost", AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED, Priority.HIGH, 40.0
        ),
        CauseNamed(at(5), "air_lost", Cause.FAN_STOPPED, 0.9),
    ]
    _, table = exported(recorded(tmp_path / "a.jsonl", inputs, events, until_s=6))
    assert tuple(table.columns) == EVENT_COLUMNS
    told = (
        table[["time_s", "kind", "subject", "before", "after", "value", "unit"]]
        .astype(object)
        .fillna("")
    )
    assert told.to_numpy().tolist() == [
        [0.5, "stage", "", "idle", "worn", "", ""],
        [0.6, "baseline", "airflow_l_min", "", "", 231.0, "L/min"],
        [1.0, "contact", "answer", "", "open", "", ""],
        [3.0, "contact", "answer", "open", "closed", "", ""],
        [4.0, "fact", "device_failed air", "", "active", "", ""],
        [5.0, "alarm", "air_lost", "normal", "unacknowledged", 40.0, "%"],
        [5.0, "cause", "air_lost", "", "fan_stopped", 0.9, ""],
    ]
    assert table["text"].tolist()[-1] == "The fan has stopped."


def test_segments_are_numbered_on_one_axis(tmp_path: Path) -> None:
    first, second = tmp_path / "a.jsonl", tmp_path / "b.jsonl"
    first.write_bytes(segment_bytes(header(), spo2([(1, 97)]), [], 10, end=EndReason.ROTATION))
    goes_on = header(SegmentReason.ROTATION, 10, "2031-05-01T08:00:10+00:00")
    second.write_bytes(segment_bytes(goes_on, spo2([(12, 96)]), [], 20))
    readings, _ = exported(first, second)
    assert readings[["time_s", "segment", "value"]].to_numpy().tolist() == [
        [1.0, 1.0, 97.0],
        [12.0, 2.0, 96.0],
    ]


@pytest.mark.parametrize("column", sorted({*READING_COLUMNS, *EVENT_COLUMNS}))
def test_every_column_is_explained(column: str) -> None:
    assert f"`{column}`" in README.read_text(encoding="utf-8")
