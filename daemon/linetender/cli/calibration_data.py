"""What a calibration came to, as plain data for programs; the names carry the unit."""

from typing import Any

import msgspec

from linetender.airline.calibration_fit import Fit
from linetender.airline.teaching import LineState
from linetender.memory.calibrations import CalibrationRecord
from linetender.memory.taught_pressures import TaughtRecord
from linetender.runtime.alarm_proof import alarms_raised
from linetender.settings.station import Station


def taught_data(record: TaughtRecord) -> dict[str, Any]:
    """Return what was taught."""
    found: dict[str, Any] = msgspec.to_builtins(record)
    return found


def calibrated_data(record: CalibrationRecord, fit: Fit) -> dict[str, Any]:
    """Return what was calibrated, with how well it is known.

    `relative_uncertainty` is the standard uncertainty of the airflow over it, of method
    and fit, at the worse end of the calibrated pressures; that of the sensor's zero and of
    the weather comes on top where a flow is told. `residuals_percent` are in the order of
    the points that are no check.
    """
    ends_pa = (record.least_pa, record.greatest_pa)
    fit_relative = max(fit.covariance.relative_uncertainty(end_pa) for end_pa in ends_pa)
    return {
        **msgspec.to_builtins(record),
        "relative_uncertainty": (fit_relative**2 + record.method_relative**2) ** 0.5,
        "residuals_percent": [100.0 * residual for residual in fit.residuals],
        "widening": fit.widening,
    }


def alarms_data(station: Station, record: TaughtRecord) -> dict[str, list[str]]:
    """Return the alarms that each taught fault raises on this station, hood on."""
    return {
        state.value: list(
            alarms_raised(station.plan, record.normal_pa, record.states[state.value].mean_pa)
        )
        for state in (LineState.FAN_OFF, LineState.PINCHED, LineState.DUCT_OFF)
    }
