"""Calibrations as they are kept: k and n with everything needed to judge them later."""

import sqlite3

import msgspec

from linetender.airline.air_state import air_at
from linetender.airline.fitted_element import CalibratedElement, FitCovariance
from linetender.memory.store import Store


class StoredPoint(msgspec.Struct, frozen=True):
    """One flow point of a calibration.

    Attributes:
        method: `bag` or `traverse`.
        differential_pa: True pressure (Pa).
        differential_uncertainty_pa: By scatter (Pa).
        airflow_l_min: As measured (L/min).
        random_relative: Uncertainty that differs from point to point, over the flow.
        common_relative: Uncertainty that all repeats share, over the flow.
        is_check: Whether it belongs to the second method, which only checks the fit.
    """

    method: str
    differential_pa: float
    differential_uncertainty_pa: float
    airflow_l_min: float
    random_relative: float
    common_relative: float
    is_check: bool = False


class CalibrationRecord(msgspec.Struct, frozen=True, kw_only=True):
    """A calibration of the flow element in place.

    Attributes:
        made_at: Time of day (ISO 8601 with offset).
        synchronised: Whether that clock was known to be right.
        expires_at: From when on it is to be made again (ISO 8601 with offset).
        method: How the flow was measured, e.g. `bag`.
        driver: Driver of the pressure sensor it was made with.
        signal: The pressure's signal.
        pressure_factor: By what readings were multiplied (thermal sensors; else 1).
        k_l_min: L/min per Pa^n in the air given below.
        exponent: n.
        method_relative: Standard uncertainty common to all points, over the flow.
        covariance: Of the fit.
        least_pa: Least true pressure of the points (Pa).
        greatest_pa: Greatest (Pa).
        zero_pa: What was read with the ports joined (Pa).
        temperature_c: Air temperature then (°C).
        pressure_pa: Air pressure then (Pa).
        humidity_percent: Relative humidity then (%).
        points: The flow points.
    """

    made_at: str
    synchronised: bool
    expires_at: str
    method: str
    driver: str
    signal: str
    pressure_factor: float
    k_l_min: float
    exponent: float
    method_relative: float
    covariance: FitCovariance
    least_pa: float
    greatest_pa: float
    zero_pa: float
    temperature_c: float
    pressure_pa: float
    humidity_percent: float
    points: tuple[StoredPoint, ...]

    def element(self) -> CalibratedElement:
        """Return it as a flow element."""
        return CalibratedElement(
            self.k_l_min,
            self.exponent,
            air_at(self.temperature_c, self.pressure_pa, self.humidity_percent),
            self.method_relative,
            self.covariance,
            self.least_pa,
            self.greatest_pa,
        )


_COLUMNS = (
    "made_at, synchronised, expires_at, method, driver, signal, pressure_factor, k_l_min, "
    "exponent, method_relative, ln_k_variance, ln_k_exponent_covariance, exponent_variance, "
    "least_pa, greatest_pa, zero_pa, temperature_c, pressure_pa, humidity_percent, points"
)


def store_calibration(store: Store, record: CalibrationRecord) -> None:
    """Keep a calibration; it is the one in force from now on.

    Raises:
        MemoryFault: it could not be stored, or holds a number that is not finite.
    """
    values = (
        record.made_at,
        int(record.synchronised),
        record.expires_at,
        record.method,
        record.driver,
        record.signal,
        record.pressure_factor,
        record.k_l_min,
        record.exponent,
        record.method_relative,
        *record.covariance,
        record.least_pa,
        record.greatest_pa,
        record.zero_pa,
        record.temperature_c,
        record.pressure_pa,
        record.humidity_percent,
        msgspec.json.encode(record.points).decode(),
    )
    places = ", ".join("?" * len(values))
    with store.changing() as connection:
        connection.execute(f"INSERT INTO calibration ({_COLUMNS}) VALUES ({places})", values)


def calibration_in_force(store: Store) -> CalibrationRecord | None:
    """Return the newest calibration that was not withdrawn, or None.

    Raises:
        MemoryFault: the file cannot be read.
    """
    rows = store.rows(
        "SELECT * FROM calibration WHERE withdrawn_at IS NULL ORDER BY id DESC LIMIT 1"
    )
    return _record(rows[0]) if rows else None


def _record(row: sqlite3.Row) -> CalibrationRecord:
    columns = set(row.keys())
    plain = {name: row[name] for name in CalibrationRecord.__struct_fields__ if name in columns}
    plain["synchronised"] = bool(row["synchronised"])
    plain["points"] = msgspec.json.decode(row["points"], type=tuple[StoredPoint, ...])
    covariance = FitCovariance(
        row["ln_k_variance"], row["ln_k_exponent_covariance"], row["exponent_variance"]
    )
    return CalibrationRecord(**plain, covariance=covariance)
