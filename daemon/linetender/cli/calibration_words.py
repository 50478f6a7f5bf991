"""What a calibration came to, in words."""

from linetender.airline.calibration_fit import Fit
from linetender.airline.teaching import LineState
from linetender.cli.residual_plot import residual_plot
from linetender.memory.calibrations import CalibrationRecord
from linetender.memory.taught_pressures import TaughtRecord
from linetender.runtime.alarm_proof import alarms_raised
from linetender.settings.station import Station

_STATE_WORDS = {
    LineState.FAN_OFF: "fan off",
    LineState.PINCHED: "duct pinched",
    LineState.DUCT_OFF: "duct off",
}


def taught_lines(record: TaughtRecord) -> list[str]:
    """Return what was taught."""
    lines = [
        "",
        f"Normal pressure: {record.normal_pa:.2f} ± {2.0 * record.uncertainty_pa:.2f} Pa (95 %).",
        "",
        f"{'state':<14}{'Pa':>9}{'scatter':>9}  air",
    ]
    for state in LineState:
        seen = record.states[state.value]
        air = "" if seen.percent_of_normal is None else f"{seen.percent_of_normal:.0f} % of normal"
        name = state.value.replace("_", " ")
        lines.append(f"{name:<14}{seen.mean_pa:>9.2f}{seen.scatter_pa:>9.2f}  {air}")
    lines += ["", f"Stored; good until {record.expires_at[:10]}. No L/min follows from it."]
    lines += ["Now put the duct back on, and tug it: the last state left it off."]
    return lines


def calibrated_lines(
    record: CalibrationRecord, fit: Fit, required_l_min: float | None
) -> list[str]:
    """Return what the calibration says, with its residual plot.

    Args:
        record: The calibration.
        fit: Its fit.
        required_l_min: The station's required airflow (L/min), or None.
    """
    points = [point for point in record.points if not point.is_check]
    element = record.element()
    low_l_min = element.airflow_l_min(record.least_pa, element.reference_air)
    high_l_min = element.airflow_l_min(record.greatest_pa, element.reference_air)
    lines = [
        "",
        *residual_plot(
            [point.differential_pa for point in points],
            [point.airflow_l_min for point in points],
            fit.residuals,
        ),
        "",
        f"Q = {record.k_l_min:.3f} · Δp^{record.exponent:.3f}   (L/min, Pa), "
        f"from {low_l_min:.0f} to {high_l_min:.0f} L/min.",
        _uncertainty_line(record),
    ]
    if fit.widening > 1.0:
        lines.append(
            f"The points scatter {fit.widening:.1f} times as much as their errors explain; the "
            "uncertainty was widened by that."
        )
    if len(points) < len(record.points):
        lines.append("The second method agrees.")
    if required_l_min is not None and not low_l_min <= required_l_min <= high_l_min:
        lines.append(
            f"LOOK  The required {required_l_min:.0f} L/min lie outside the points: there the line "
            "was not measured. Calibrate again with a point beyond it."
        )
    lines.append(f"Stored; good until {record.expires_at[:10]}.")
    return lines


def _uncertainty_line(record: CalibrationRecord) -> str:
    covariance = record.element().covariance
    ends_pa = (record.least_pa, record.greatest_pa)
    fit_relative = max(covariance.relative_uncertainty(end_pa) for end_pa in ends_pa)
    total_relative = (fit_relative**2 + record.method_relative**2) ** 0.5
    return (
        f"Uncertain by ±{200.0 * total_relative:.1f} % (95 %): fit ±{200.0 * fit_relative:.1f} %, "
        f"{record.method} ±{200.0 * record.method_relative:.1f} %."
    )


def alarm_lines(station: Station, record: TaughtRecord) -> list[str]:
    """Return which alarms each taught fault raises on this station, hood on."""
    lines = ["", "What this station says to each of these, hood on:"]
    for state, words in _STATE_WORDS.items():
        fault_pa = record.states[state.value].mean_pa
        rules = alarms_raised(station.plan, record.normal_pa, fault_pa)
        said = ", ".join(rules) if rules else "NOTHING: no alarm tells it. Look at the limits."
        lines.append(f"  {words:<14}{said}")
    return lines
