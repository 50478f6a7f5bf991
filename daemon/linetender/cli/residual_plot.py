"""How far each flow point lies from the fit, as text of 80 columns at most."""

from collections.abc import Sequence

from linetender.cli.plain_output import is_plain

_WIDTH = 41
"""Columns of the plot itself: odd, so that zero has one."""

_LEAST_PERCENT = 2.0
"""The plot reaches at least so far to both sides."""


def residual_plot(
    pressures_pa: Sequence[float], flows_l_min: Sequence[float], residuals: Sequence[float]
) -> list[str]:
    """Return the lines of the plot; plainly told, a sentence for each point.

    Args:
        pressures_pa: Pressure of each point (Pa).
        flows_l_min: Airflow of each point (L/min).
        residuals: ln of the flow over that of the fit, of each point.
    """
    percents = [100.0 * residual for residual in residuals]
    rows = sorted(zip(pressures_pa, flows_l_min, percents, strict=True))
    if is_plain():
        return [
            f"At {pressure_pa:.2f} Pa {flow_l_min:.1f} L/min, {abs(percent):.2f} % "
            f"{'below' if percent < 0 else 'above'} the fit."
            for pressure_pa, flow_l_min, percent in rows
        ]
    reach = max(_LEAST_PERCENT, *(abs(percent) for percent in percents))
    ends = f"-{reach:.1f} %".ljust(_WIDTH // 2) + "0" + f"+{reach:.1f} %".rjust(_WIDTH // 2)
    lines = [f"{'Pa':>9} {'L/min':>8} {'off':>8}  {ends}"]
    for pressure_pa, flow_l_min, percent in rows:
        cells = [" "] * _WIDTH
        cells[_WIDTH // 2] = "|"
        cells[round((percent / reach + 1.0) / 2.0 * (_WIDTH - 1))] = "*"
        bar = "".join(cells).rstrip()
        lines.append(f"{pressure_pa:9.2f} {flow_l_min:8.1f} {percent:+7.2f}%  {bar}")
    return lines
