"""Five states measured through the real driver, judged, and kept."""

from datetime import datetime
from pathlib import Path

import pytest

from linetender.airline.teaching import LineState
from linetender.memory.recall import remembered_in
from linetender.memory.store import open_store
from linetender.memory.taught_pressures import TaughtRecord, taught_in_force
from linetender.runtime.alarm_proof import alarms_raised
from linetender.runtime.calibration_guide import CalibrationRefused
from linetender.runtime.teach_session import teach
from linetender.settings.load import load_station
from linetender_drivers.errors import DeviceNotFound
from runtime.calibration_scenes import Guide, Scene, played


def taught(folder: Path, scene: Scene, guide: Guide) -> TaughtRecord:
    record: TaughtRecord = played(
        folder, scene, lambda store: teach(scene.target, scene.bench, guide, store)
    )
    return record


def kept(folder: Path) -> TaughtRecord | None:
    with open_store(folder / "state") as store:
        return taught_in_force(store)


def test_a_sound_line_is_taught_and_kept(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    guide = Guide(scene.line)
    record = taught(tmp_path, scene, guide)
    assert guide.prepared == list(LineState)
    assert len(guide.measured) == 5
    assert record == kept(tmp_path)
    # The invented line: 60 Pa normal, its sensor true at 96 600 Pa.
    assert record.normal_pa == pytest.approx(60.0, abs=1.0)
    assert 1.0 < record.uncertainty_pa < 1.5  # 3 %/√3 of span, and the restless air
    assert record.zero_pa == pytest.approx(0.01, abs=0.01)
    assert record.expires_at == "2031-08-31T10:15:00+01:00"
    assert (record.driver, record.signal) == ("sdp8xx", "hood_pressure_pa")
    percents = [record.states[state.value].percent_of_normal for state in LineState]
    assert percents[:2] == [None, 100.0]
    assert percents[2:] == [
        pytest.approx(0.0, abs=2),
        pytest.approx(57, abs=2),
        pytest.approx(12, abs=2),
    ]


def test_each_taught_fault_is_told_by_the_station(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    record = taught(tmp_path, scene, Guide(scene.line))
    now = datetime.fromisoformat(record.made_at)
    station = load_station(
        scene.target.path, recall=lambda _: remembered_in(tmp_path / "state", now)
    )
    for state in (LineState.FAN_OFF, LineState.PINCHED, LineState.DUCT_OFF):
        fault_pa = record.states[state.value].mean_pa
        assert alarms_raised(station.plan, record.normal_pa, fault_pa)[0] == "air_lost"
    assert alarms_raised(station.plan, record.normal_pa, record.normal_pa) == ()
    # 75 % of the flow: not lost, but falling; told after its longer delay.
    falling_pa = record.normal_pa * 0.75 ** (1 / 0.54)
    assert alarms_raised(station.plan, record.normal_pa, falling_pa) == ("air_falling",)


@pytest.mark.parametrize(
    ("wrong_state", "instead", "expected"),
    [
        (LineState.JOINED, LineState.NORMAL, "within ±0.5 Pa was expected"),
        (LineState.NORMAL, LineState.JOINED, "not clearly above 0"),
        (LineState.FAN_OFF, LineState.NORMAL, "less than 20 % was expected"),
        (LineState.PINCHED, LineState.NORMAL, "not distinct from normal"),
        (LineState.DUCT_OFF, LineState.NORMAL, "not distinct from normal"),
    ],
)
def test_a_line_in_another_state_is_refused_and_nothing_stored(
    tmp_path: Path, wrong_state: LineState, instead: LineState, expected: str
) -> None:
    scene = Scene(tmp_path)

    def wrong(state: LineState) -> None:
        if state is wrong_state:
            scene.line.bring(instead)

    guide = Guide(scene.line, wrong=wrong)
    with pytest.raises(CalibrationRefused) as refused:
        taught(tmp_path, scene, guide)
    assert expected in refused.value.reasons[0]
    assert guide.prepared[-1] is wrong_state
    assert kept(tmp_path) is None


def test_what_is_measured_again_may_be_right_then(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    turns: list[LineState] = []

    def wrong_once(state: LineState) -> None:
        turns.append(state)
        if state is LineState.PINCHED and turns.count(state) == 1:
            scene.line.bring(LineState.NORMAL)

    guide = Guide(scene.line, wrong=wrong_once, retries=1)
    record = taught(tmp_path, scene, guide)
    assert len(guide.reasons) == 1
    assert guide.prepared.count(LineState.PINCHED) == 2
    assert record.states["duct_pinched"].percent_of_normal == pytest.approx(57, abs=2)


def test_a_sensor_that_falls_silent_is_refused(tmp_path: Path) -> None:
    scene = Scene(tmp_path)

    def unplugged(state: LineState) -> None:
        if state is LineState.NORMAL:
            scene.bus.detach(0x25)

    with pytest.raises(DeviceNotFound, match="no sensor answers at address 0x25"):
        taught(tmp_path, scene, Guide(scene.line, wrong=unplugged))
    assert kept(tmp_path) is None
