"""A full calibration: zero, then flow points, then the fit; what is measured is never lost."""

from datetime import datetime, timedelta

import msgspec

from linetender.airline.air_state import AirState
from linetender.airline.calibration_fit import CannotFit, Fit, FlowPoint, fit_points
from linetender.airline.fitted_element import CalibratedElement
from linetender.airline.pressure_sample import PressureSample
from linetender.airline.second_method import disagreement
from linetender.airline.teaching import (
    LineState,
    faults_of_normal,
    faults_of_readings,
    faults_of_zero,
)
from linetender.memory.calibrations import CalibrationRecord, StoredPoint, store_calibration
from linetender.memory.drafts import draft, drop_draft, keep_draft
from linetender.memory.store import Store
from linetender.runtime.calibration_guide import (
    CalibrationRefused,
    Conditions,
    Guide,
    days_later,
)
from linetender.runtime.pressure_measuring import Bench, measure_pressure
from linetender.settings.calibration_target import CalibrationTarget

MEASURE_S = 20.0
"""How long the pressure is watched at each setting (chosen)."""

GOOD_FOR_DAYS = 365
"""A line that nobody changed keeps its calibration for a year (chosen)."""

DRAFT = "calibration"
DRAFT_GOOD_FOR = timedelta(hours=24)
"""An interrupted calibration older than this was made in other air (chosen)."""

K_RANGE = (0.1, 1000.0)
"""L/min per Pa^n: what a station file may state too."""


class Draft(msgspec.Struct, frozen=True):
    """A calibration that is under way.

    Attributes:
        begun_at: Time of day (ISO 8601).
        driver: Of the sensor.
        signal: Of the pressure.
        pressure_factor: By what readings are multiplied.
        conditions: The air.
        zero_pa: With the ports joined (Pa).
        points: So far.
        settings: How many settings of the line these are.
    """

    begun_at: str
    driver: str
    signal: str
    pressure_factor: float
    conditions: Conditions
    zero_pa: float
    points: tuple[StoredPoint, ...] = ()
    settings: int = 0


class Calibration:
    """One calibration of one line.

    Args:
        target: The line.
        bench: What it runs on.
        guide: Who stands at the line.
        store: Where it is kept.
    """

    def __init__(self, target: CalibrationTarget, bench: Bench, guide: Guide, store: Store) -> None:
        self._target = target
        self._bench = bench
        self._guide = guide
        self._store = store

    async def run(self) -> tuple[CalibrationRecord, Fit]:
        """Zero, measure, fit, keep. A draft is kept after each point and resumed from.

        Returns:
            What was stored, and the fit for those who want to see it.

        Raises:
            CalibrationRefused: what was measured cannot be right; the draft is dropped.
            DriverError: the sensor cannot be opened.
            MemoryFault: the disk refuses.
        """
        try:
            work = self._resumed() or await self._begun()
            while True:
                work = await self._with_points(work)
                try:
                    fit, element = self._fitted(work)
                except CannotFit as error:
                    if not self._guide.retries(error.reasons):
                        raise CalibrationRefused(error.reasons) from error
                    work = self._keep(_without(work, error.outlier))
                else:
                    break
        except CalibrationRefused:
            drop_draft(self._store, DRAFT)
            raise
        record = self._record(work, fit, element)
        store_calibration(self._store, record)
        drop_draft(self._store, DRAFT)
        return record, fit

    # What is measured

    def _resumed(self) -> Draft | None:
        kept = draft(self._store, DRAFT)
        if kept is None:
            return None
        work = msgspec.json.decode(kept, type=Draft)
        target = self._target
        now = datetime.fromisoformat(self._bench.wall().at)
        here = (target.device.driver, target.signal.value, target.pressure_factor)
        is_same = (work.driver, work.signal, work.pressure_factor) == here
        is_fresh = now - datetime.fromisoformat(work.begun_at) < DRAFT_GOOD_FOR
        if is_same and is_fresh and self._guide.resumes(len(work.points), work.begun_at):
            return work
        drop_draft(self._store, DRAFT)
        return None

    async def _begun(self) -> Draft:
        target, guide = self._target, self._guide
        conditions = guide.conditions()
        while True:
            guide.prepare(LineState.JOINED)
            sample = await self._measured("zero, ports joined")
            reasons = faults_of_readings(sample) or faults_of_zero(sample, target.sensor)
            if not reasons:
                break
            if not guide.retries(reasons):
                raise CalibrationRefused(reasons)
        guide.say(f"Zero: {sample.mean_pa:+.3f} Pa.")
        guide.prepare(LineState.NORMAL)
        return self._keep(
            Draft(
                begun_at=self._bench.wall().at,
                driver=target.device.driver,
                signal=target.signal.value,
                pressure_factor=target.pressure_factor,
                conditions=conditions,
                zero_pa=sample.mean_pa,
            )
        )

    async def _with_points(self, work: Draft) -> Draft:
        while self._guide.set_flow(work.settings + 1):
            sample = await self._measured(f"pressure at setting {work.settings + 1}")
            reasons = faults_of_readings(sample) or faults_of_normal(sample, self._target.sensor)
            if reasons:
                if not self._guide.retries(reasons):
                    raise CalibrationRefused(reasons)
                continue
            points = self._points(work.settings + 1, sample, work.zero_pa)
            work = self._keep(
                msgspec.structs.replace(
                    work, points=work.points + points, settings=work.settings + 1
                )
            )
        return work

    def _points(
        self, number: int, sample: PressureSample, zero_pa: float
    ) -> tuple[StoredPoint, ...]:
        factor = self._target.pressure_factor
        while True:
            answer = self._guide.flow(number)
            try:
                flows = answer.measured.flows()
            except ValueError as error:
                reasons = (f"setting {number}: {error}",)
                if not self._guide.retries(reasons):
                    raise CalibrationRefused(reasons) from error
                continue
            return tuple(
                StoredPoint(
                    method=answer.measured.method,
                    differential_pa=(sample.mean_pa - zero_pa) * factor,
                    differential_uncertainty_pa=sample.mean_uncertainty_pa * factor,
                    airflow_l_min=flow.airflow_l_min,
                    random_relative=flow.random_relative,
                    common_relative=flow.common_relative,
                    is_check=answer.is_check,
                )
                for flow in flows
            )

    async def _measured(self, what: str) -> PressureSample:
        target = self._target
        with self._guide.measuring(what, MEASURE_S) as told:
            return await measure_pressure(
                target.device, target.signal, self._bench, MEASURE_S, told
            )

    def _keep(self, work: Draft) -> Draft:
        keep_draft(self._store, DRAFT, work.begun_at, msgspec.json.encode(work))
        return work

    # What follows from it

    def _fitted(self, work: Draft) -> tuple[Fit, CalibratedElement]:
        main = [point for point in work.points if not point.is_check]
        checks = [point for point in work.points if point.is_check]
        fit = fit_points([_flow_point(point) for point in main])
        if not K_RANGE[0] <= fit.k_l_min <= K_RANGE[1]:
            raise CannotFit(
                [
                    f"k comes out as {fit.k_l_min:.3g} L/min per Pa^n; {K_RANGE[0]:g} to "
                    f"{K_RANGE[1]:g} is possible. Was a unit mistaken: litres, seconds, Pa?"
                ]
            )
        element = CalibratedElement(
            k_l_min=fit.k_l_min,
            exponent=fit.exponent,
            reference_air=self._air(work),
            method_relative=max(point.common_relative for point in main),
            covariance=fit.covariance,
            least_pa=fit.least_pa,
            greatest_pa=fit.greatest_pa,
        )
        if checks:
            common = max(point.common_relative for point in checks)
            points = [_flow_point(point) for point in checks]
            reason = disagreement(element, element.reference_air, points, common)
            if reason:
                raise CalibrationRefused([reason])
        return fit, element

    def _air(self, work: Draft) -> AirState:
        conditions = work.conditions
        return self._target.air(conditions.temperature_c, conditions.humidity_percent)

    def _record(self, work: Draft, fit: Fit, element: CalibratedElement) -> CalibrationRecord:
        now = self._bench.wall()
        air = element.reference_air
        methods = sorted({point.method for point in work.points if not point.is_check})
        return CalibrationRecord(
            made_at=now.at,
            synchronised=now.synchronised,
            expires_at=days_later(now.at, GOOD_FOR_DAYS),
            method="+".join(methods),
            driver=work.driver,
            signal=work.signal,
            pressure_factor=work.pressure_factor,
            k_l_min=element.k_l_min,
            exponent=element.exponent,
            method_relative=element.method_relative,
            covariance=fit.covariance,
            least_pa=element.least_pa,
            greatest_pa=element.greatest_pa,
            zero_pa=work.zero_pa,
            temperature_c=air.temperature_c,
            pressure_pa=air.pressure_pa,
            humidity_percent=air.humidity_percent,
            points=work.points,
        )


def _flow_point(point: StoredPoint) -> FlowPoint:
    return FlowPoint(
        point.differential_pa,
        point.differential_uncertainty_pa,
        point.airflow_l_min,
        point.random_relative,
    )


def _without(work: Draft, outlier: int | None) -> Draft:
    """Drop the point that a fit named, counted among those that are fitted."""
    if outlier is None:
        return work
    main = [place for place, point in enumerate(work.points) if not point.is_check]
    dropped = main[outlier]
    points = (*work.points[:dropped], *work.points[dropped + 1 :])
    return msgspec.structs.replace(work, points=points)
