"""Five guided minutes that teach the station its line's own pressures."""

import math

from linetender.airline.pressure_sample import PressureSample
from linetender.airline.teaching import LineState, Teaching
from linetender.memory.store import Store
from linetender.memory.taught_pressures import StateSeen, TaughtRecord, store_taught
from linetender.runtime.calibration_guide import CalibrationRefused, Guide, days_later
from linetender.runtime.pressure_measuring import Bench, measure_pressure
from linetender.settings.calibration_target import CalibrationTarget

MEASURE_S = 20.0
"""How long each state is watched (chosen: the length of the pre-use baseline)."""

GOOD_FOR_DAYS = 180
"""Filters load and tubes age: teach twice a year (chosen)."""


async def teach(
    target: CalibrationTarget, bench: Bench, guide: Guide, store: Store
) -> TaughtRecord:
    """Measure the five states, judge each, and keep what was taught.

    Returns:
        What was stored.

    Raises:
        CalibrationRefused: a state cannot be right, and nobody measures it again.
        DriverError: the sensor cannot be opened.
        MemoryFault: the result could not be stored.
    """
    conditions = guide.conditions()
    samples: dict[LineState, PressureSample] = {}
    for state in LineState:
        samples[state] = await _taught_state(state, samples, target, bench, guide)
    teaching = _teaching(target, samples)
    now = bench.wall()
    normal = samples[LineState.NORMAL]
    record = TaughtRecord(
        made_at=now.at,
        synchronised=now.synchronised,
        expires_at=days_later(now.at, GOOD_FOR_DAYS),
        method="five_states",
        driver=target.device.driver,
        signal=target.signal.value,
        normal_pa=normal.mean_pa,
        uncertainty_pa=math.hypot(
            normal.mean_uncertainty_pa,
            target.sensor.zero_pa,
            target.sensor.span_relative * normal.mean_pa,
        ),
        zero_pa=samples[LineState.JOINED].mean_pa,
        temperature_c=conditions.temperature_c,
        states={state.value: _seen(teaching, state) for state in LineState},
    )
    store_taught(store, record)
    return record


async def _taught_state(
    state: LineState,
    samples: dict[LineState, PressureSample],
    target: CalibrationTarget,
    bench: Bench,
    guide: Guide,
) -> PressureSample:
    while True:
        guide.prepare(state)
        with guide.measuring(state.value.replace("_", " "), MEASURE_S) as told:
            sample = await measure_pressure(target.device, target.signal, bench, MEASURE_S, told)
        reasons = _teaching(target, {**samples, state: sample}).faults(state)
        if not reasons:
            guide.say(f"{sample.mean_pa:.2f} Pa, scatter {sample.scatter_pa:.2f} Pa.")
            return sample
        if not guide.retries(reasons):
            raise CalibrationRefused(reasons)


def _teaching(target: CalibrationTarget, samples: dict[LineState, PressureSample]) -> Teaching:
    return Teaching(target.sensor, target.element.exponent, target.box_at_wearer, samples)


def _seen(teaching: Teaching, state: LineState) -> StateSeen:
    sample = teaching.samples[state]
    is_zero = state is LineState.JOINED
    percent = None if is_zero else round(teaching.percent_of_normal(state), 1)
    return StateSeen(round(sample.mean_pa, 3), round(sample.scatter_pa, 3), percent)
