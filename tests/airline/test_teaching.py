"""What the five states must look like to be believed."""

import math
from dataclasses import replace

import pytest

from linetender.airline.pressure_sample import PressureSample, sample_of
from linetender.airline.pressure_sensor import SDP8XX_500
from linetender.airline.teaching import LineState, Teaching


def steady(mean_pa: float, scatter_pa: float = 0.05, drift_pa: float = 0.0) -> PressureSample:
    return PressureSample(mean_pa, scatter_pa / 10.0, scatter_pa, drift_pa, 500, 0)


GOOD = {
    LineState.JOINED: steady(0.03),
    LineState.NORMAL: steady(60.0, 1.5),
    LineState.FAN_OFF: steady(0.1),
    LineState.PINCHED: steady(22.0, 0.5),
    LineState.DUCT_OFF: steady(1.2),
}


def teaching(state: LineState, sample: PressureSample, *, at_wearer: bool = True) -> Teaching:
    return Teaching(SDP8XX_500, 0.54, at_wearer, {**GOOD, state: sample})


@pytest.mark.parametrize("state", LineState)
@pytest.mark.parametrize("at_wearer", [True, False])
def test_a_good_line_is_taught(state: LineState, at_wearer: bool) -> None:
    assert teaching(state, GOOD[state], at_wearer=at_wearer).faults(state) == ()


def test_the_air_of_a_state_follows_the_element() -> None:
    taught = teaching(LineState.PINCHED, steady(27.0))
    assert taught.percent_of_normal(LineState.PINCHED) == pytest.approx(
        100 * (26.97 / 59.97) ** 0.54  # both over the zero of 0.03 Pa
    )
    assert taught.percent_of_normal(LineState.NORMAL) == 100.0
    assert teaching(LineState.FAN_OFF, steady(-0.2)).percent_of_normal(LineState.FAN_OFF) == 0.0


@pytest.mark.parametrize(
    ("state", "sample", "at_wearer", "expected"),
    [
        (LineState.JOINED, steady(0.6), True, "within ±0.5 Pa was expected"),
        (LineState.JOINED, steady(-0.6), True, "-0.6 Pa were read"),
        (LineState.JOINED, steady(0.0, 0.7), True, "scatters by 0.7 Pa"),
        (LineState.NORMAL, steady(0.4), True, "not clearly above 0"),
        (LineState.NORMAL, steady(0.0), True, "not clearly above 0"),
        (LineState.NORMAL, steady(-60.0), True, "the two tubes are swapped"),
        (LineState.NORMAL, steady(600.0), True, "past the sensor's range, 500 Pa"),
        (LineState.NORMAL, steady(60.0, 20.0), True, "scatters by 33 %"),
        (LineState.NORMAL, steady(60.0, 1.0, -6.0), True, "crept by -6 Pa (-10 %)"),
        (LineState.FAN_OFF, steady(12.0), True, "less than 20 % was expected"),
        (LineState.PINCHED, steady(58.0, 0.5), True, "not distinct from normal"),
        (LineState.PINCHED, steady(45.0, 6.0), True, "drown in the noise"),
        (LineState.PINCHED, steady(90.0, 0.5), False, "a fall was expected"),
        (LineState.DUCT_OFF, steady(61.0), True, "not distinct from normal"),
        (LineState.DUCT_OFF, steady(90.0), True, "a fall was expected"),
        (LineState.PINCHED, replace(steady(22.0), count=19), True, "19 readings came"),
        (LineState.JOINED, replace(steady(0.0), failed=60), True, "60 failed"),
    ],
)
def test_what_cannot_be_right_is_refused_with_figures(
    state: LineState, sample: PressureSample, at_wearer: bool, expected: str
) -> None:
    (fault,) = teaching(state, sample, at_wearer=at_wearer).faults(state)
    assert expected in fault


def test_beside_the_fan_a_duct_that_is_off_may_read_high() -> None:
    taught = teaching(LineState.DUCT_OFF, steady(90.0), at_wearer=False)
    assert taught.faults(LineState.DUCT_OFF) == ()


def test_a_sample_tells_noise_and_drift_apart() -> None:
    creeping = sample_of([60.0 + 0.01 * turn for turn in range(400)])
    noisy = sample_of([60.0 + (1.0 if turn % 2 else -1.0) for turn in range(400)])
    assert creeping.drift_pa == pytest.approx(2.0)
    assert (noisy.drift_pa, noisy.mean_pa) == (pytest.approx(0.0), pytest.approx(60.0))
    assert noisy.scatter_pa == pytest.approx(1.0, rel=0.01)


def test_lasting_turbulence_makes_the_mean_less_sure_than_its_values_say() -> None:
    slow = sample_of([60.0 + math.sin(turn / 60.0) for turn in range(500)])
    by_values = slow.scatter_pa / math.sqrt(slow.count)
    assert slow.mean_uncertainty_pa > 3.0 * by_values


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_no_sample_of_what_is_not_a_number(bad: float) -> None:
    with pytest.raises(ValueError, match="not a finite number"):
        sample_of([1.0] * 30 + [bad])


@pytest.mark.parametrize(
    ("values", "failed", "whole"),
    [
        (0, 0, False),
        (0, 50, False),
        (19, 0, False),
        (20, 0, True),
        (20, 3, False),
        (90, 10, True),
        (90, 11, False),
    ],
)
def test_how_many_readings_are_enough(values: int, failed: int, whole: bool) -> None:
    assert sample_of([1.0] * values, failed).is_whole is whole
