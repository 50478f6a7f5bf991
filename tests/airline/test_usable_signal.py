"""Which element and sensor can carry an alarm at 170 L/min, and why the others cannot."""

import math

import pytest

from airline.elements import ROOM
from linetender.airline.flow_element import FlowElement
from linetender.airline.orifice import Orifice
from linetender.airline.pitot import Pitot
from linetender.airline.pressure_sensor import (
    MEMBRANE_1_PSI,
    SDP8XX_125,
    SDP8XX_500,
    PressureSensor,
)
from linetender.airline.straight_duct import StraightDuct
from linetender.airline.usable_signal import signal_verdict


@pytest.mark.parametrize(
    ("element", "sensor", "greatest_l_min", "objections"),
    [
        (Orifice(100.0, 50.0), SDP8XX_500, 2000.0, []),
        (Orifice(100.0, 50.0), SDP8XX_125, 1000.0, []),
        (Orifice(75.0, 37.5), SDP8XX_125, 425.0, []),
        (Orifice(100.0, 40.0), SDP8XX_500, 425.0, []),
        (Orifice(100.0, 50.0), SDP8XX_125, 2000.0, ["435 Pa at the greatest airflow is past"]),
        (
            Pitot(100.0),
            SDP8XX_500,
            425.0,
            ["0.078 Pa at the least airflow", "is under 4000: the profile"],
        ),
        (
            StraightDuct(10.0, 100.0),
            SDP8XX_500,
            425.0,
            ["0.222 Pa at the least airflow", "is between 2300 and 4000"],
        ),
        (Orifice(100.0, 50.0), MEMBRANE_1_PSI, 2000.0, ["2.82 Pa at the least airflow"]),
    ],
)
def test_what_speaks_against_it(
    element: FlowElement, sensor: PressureSensor, greatest_l_min: float, objections: list[str]
) -> None:
    verdict = signal_verdict(
        element, sensor, ROOM, least_l_min=170.0, greatest_l_min=greatest_l_min
    )
    assert verdict.is_usable == (not objections)
    pairs = list(zip(verdict.objections, objections, strict=True))
    assert [said for said, part in pairs if part not in said] == []


def test_the_zero_that_is_needed() -> None:
    plate = Orifice(100.0, 50.0)
    verdict = signal_verdict(plate, SDP8XX_500, ROOM, least_l_min=170.0, greatest_l_min=425.0)
    zero_only = PressureSensor(verdict.zero_needed_pa, 0.0, 500.0)
    again = signal_verdict(plate, zero_only, ROOM, least_l_min=170.0, greatest_l_min=425.0)
    assert again.sensor_relative == pytest.approx(0.05, rel=0.01)


@pytest.mark.parametrize(
    ("least", "greatest", "permitted", "message"),
    [
        (0.0, 425.0, 0.05, "least airflow"),
        (170.0, 100.0, 0.05, "greatest airflow"),
        (170.0, math.nan, 0.05, "greatest airflow"),
        (170.0, 425.0, 0.0, "permitted uncertainty"),
    ],
)
def test_refused(least: float, greatest: float, permitted: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        signal_verdict(
            Orifice(100.0, 50.0),
            SDP8XX_500,
            ROOM,
            least_l_min=least,
            greatest_l_min=greatest,
            permitted_relative=permitted,
        )
