"""A full calibration through the real driver: right, interrupted, mistyped, contradicted."""

from pathlib import Path

import pytest

from linetender.airline.calibration_fit import Fit
from linetender.airline.teaching import LineState
from linetender.memory.calibrations import CalibrationRecord, calibration_in_force
from linetender.memory.drafts import draft
from linetender.memory.store import open_store
from linetender.runtime.calibration_guide import CalibrationRefused
from linetender.runtime.calibration_session import DRAFT, Calibration
from runtime.calibration_scenes import CLOSED, Guide, Scene, played

TRUE_K = 250.0 / 60.0**0.54
"""Of the invented line."""


def calibrated(folder: Path, scene: Scene, guide: Guide) -> tuple[CalibrationRecord, Fit]:
    outcome: tuple[CalibrationRecord, Fit] = played(
        folder, scene, lambda store: Calibration(scene.target, scene.bench, guide, store).run()
    )
    return outcome


def kept(folder: Path) -> CalibrationRecord | None:
    with open_store(folder / "state") as store:
        return calibration_in_force(store)


def kept_draft(folder: Path) -> bytes | None:
    with open_store(folder / "state") as store:
        return draft(store, DRAFT)


def test_a_bag_and_a_stopwatch_find_the_true_line(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    guide = Guide(scene.line)
    record, fit = calibrated(tmp_path, scene, guide)
    assert guide.settings == [1, 2, 3, 4]
    assert record == kept(tmp_path)
    assert kept_draft(tmp_path) is None
    assert len(record.points) == len(fit.residuals) == 12
    assert (record.method, record.method_relative) == ("bag", 0.03)
    assert record.expires_at == "2032-03-03T10:15:00+01:00"
    assert (record.temperature_c, record.humidity_percent) == (21.0, 45.0)
    element = record.element()
    for pressure_pa in (20.0, 60.0):
        true_l_min = TRUE_K * pressure_pa**0.54
        found_l_min = element.airflow_l_min(pressure_pa, element.reference_air)
        assert found_l_min == pytest.approx(true_l_min, rel=0.03)


def test_a_second_method_that_agrees_only_checks(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    record, fit = calibrated(tmp_path, scene, Guide(scene.line, checks=1.05))
    assert [point.is_check for point in record.points] == [False] * 12 + [True]
    assert len(fit.residuals) == 12
    assert record.method == "bag"


def test_a_second_method_that_contradicts_ends_it(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    with pytest.raises(CalibrationRefused, match=r"reads \+3\d % against the first"):
        calibrated(tmp_path, scene, Guide(scene.line, checks=1.35))
    assert (kept(tmp_path), kept_draft(tmp_path)) == (None, None)


def test_an_interrupted_calibration_goes_on_where_it_was(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    with pytest.raises(KeyboardInterrupt):
        calibrated(tmp_path, scene, Guide(scene.line, stops_at=3))
    assert kept(tmp_path) is None
    scene = Scene(tmp_path, at="2031-03-04T16:00:00.000+01:00")
    guide = Guide(scene.line)
    record, _ = calibrated(tmp_path, scene, guide)
    assert guide.resumed == [6]
    assert guide.settings == [3, 4]
    assert LineState.JOINED not in guide.prepared
    assert len(record.points) == 12


def test_what_was_begun_a_day_ago_begins_anew(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    with pytest.raises(KeyboardInterrupt):
        calibrated(tmp_path, scene, Guide(scene.line, stops_at=3))
    scene = Scene(tmp_path, at="2031-03-05T10:15:00.000+01:00")
    guide = Guide(scene.line)
    calibrated(tmp_path, scene, guide)
    assert guide.resumed == []
    assert guide.settings == [1, 2, 3, 4]


def test_a_time_ten_times_too_long_is_named_and_nothing_stored(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    guide = Guide(scene.line, seconds={3: (74.3, 743.0, 75.1)})
    with pytest.raises(CalibrationRefused) as refused:
        calibrated(tmp_path, scene, guide)
    (reason,) = refused.value.reasons
    assert "Point 8 (" in reason  # the second fill at the third setting
    assert "a factor of 10" in reason or "a factor of 9." in reason
    assert (kept(tmp_path), kept_draft(tmp_path)) == (None, None)


def test_a_mistyped_point_can_be_dropped_and_measured_again(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    guide = Guide(scene.line, seconds={3: (74.3, 743.0, 75.1)}, retries=1)
    record, _ = calibrated(tmp_path, scene, guide)
    assert len(guide.reasons) == 1
    assert len(record.points) == 11
    assert min(point.airflow_l_min for point in record.points) > 100.0


@pytest.mark.parametrize("seconds", [(4.0,), (0.0,), (-70.0,), (9999.0,)])
def test_seconds_that_no_fill_takes_are_refused_at_once(
    tmp_path: Path, seconds: tuple[float, ...]
) -> None:
    scene = Scene(tmp_path)
    guide = Guide(scene.line, seconds={2: seconds})
    with pytest.raises(CalibrationRefused, match=r"setting 2: .* s to fill a bag is outside"):
        calibrated(tmp_path, scene, guide)
    assert guide.settings == [1, 2]
    assert kept(tmp_path) is None


def test_one_setting_alone_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    scene = Scene(tmp_path)
    monkeypatch.setattr("runtime.calibration_scenes.CLOSED", CLOSED[:1])
    with pytest.raises(CalibrationRefused, match="1 setting of the line"):
        calibrated(tmp_path, scene, Guide(scene.line))
    assert kept(tmp_path) is None


def test_an_implausible_zero_is_refused(tmp_path: Path) -> None:
    scene = Scene(tmp_path)
    guide = Guide(scene.line, wrong=lambda state: scene.line.bring(LineState.NORMAL))
    with pytest.raises(CalibrationRefused, match="with the ports joined"):
        calibrated(tmp_path, scene, guide)
    assert (kept(tmp_path), kept_draft(tmp_path)) == (None, None)
