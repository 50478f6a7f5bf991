"""Invented records for the tests of the memory."""

from dataclasses import dataclass

from linetender.airline.fitted_element import FitCovariance
from linetender.memory.calibrations import CalibrationRecord, StoredPoint
from linetender.memory.taught_pressures import StateSeen, TaughtRecord


@dataclass(frozen=True)
class When:
    """Times of day of a record."""

    made_at: str = "2031-03-04T10:15:00.000+01:00"
    expires_at: str = "2032-03-03T10:15:00+01:00"


def calibration(k_l_min: float = 27.0, when: When | None = None) -> CalibrationRecord:
    """Return a calibration of an invented line."""
    when = when or When()
    return CalibrationRecord(
        made_at=when.made_at,
        synchronised=True,
        expires_at=when.expires_at,
        method="bag",
        driver="sdp8xx",
        signal="hood_pressure_pa",
        pressure_factor=1.0,
        k_l_min=k_l_min,
        exponent=0.54,
        method_relative=0.03,
        covariance=FitCovariance(2e-4, -5e-5, 1.5e-5),
        least_pa=15.0,
        greatest_pa=60.0,
        zero_pa=0.02,
        temperature_c=21.0,
        pressure_pa=96_600.0,
        humidity_percent=45.0,
        points=(
            StoredPoint("bag", 15.0, 0.05, 116.6, 0.021, 0.03),
            StoredPoint("traverse", 60.0, 0.2, 250.1, 0.02, 0.05, is_check=True),
        ),
    )


def taught(normal_pa: float = 60.0, when: When | None = None) -> TaughtRecord:
    """Return what an invented line was taught."""
    when = when or When()
    return TaughtRecord(
        made_at=when.made_at,
        synchronised=False,
        expires_at=when.expires_at,
        method="five_states",
        driver="sdp8xx",
        signal="hood_pressure_pa",
        normal_pa=normal_pa,
        uncertainty_pa=1.1,
        zero_pa=0.02,
        temperature_c=21.0,
        states={"ports_joined": StateSeen(0.02, 0.01), "normal": StateSeen(60.0, 1.5, 100.0)},
    )
