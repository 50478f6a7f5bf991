"""The plot of `size`: the fan's curve, what the line takes, and where they meet."""

from pathlib import Path

import matplotlib
from matplotlib.figure import Figure

from linetender.airline.air_line import AirLine, Wall
from linetender.airline.filter import LOADED_INDEX
from linetender.airline.sizing import Sizing

_POINTS = 200


def draw(sizing: Sizing, path: Path) -> None:
    """Draw the forecast.

    Args:
        sizing: The forecast.
        path: File to write; its ending, `.png`, `.svg` or `.pdf`, says which kind.

    Raises:
        OSError: The file cannot be written.
    """
    line = sizing.line
    last_l_min = min(1.5 * sizing.greatest_l_min, line.fan.last_l_min(line.speed))
    flows = [last_l_min * index / _POINTS for index in range(_POINTS + 1)]
    figure = Figure(figsize=(8.0, 5.0), layout="constrained")
    axes = figure.add_subplot()
    curve = [_fan_pa(line, flow) for flow in flows]
    low, high = ([factor * pa for pa in curve] for factor in line.fan_doubt)
    axes.fill_between(flows, low, high, alpha=0.2, label="fan, as uncertain as it is")
    axes.plot(flows, curve, label="fan")
    for name, wall, loading, style in (
        ("line, filter new", Wall.LIKELY, 1.0, "-"),
        ("line, filter due", Wall.LIKELY, LOADED_INDEX, "--"),
        ("line, walls rough, filter due", Wall.ROUGH, LOADED_INDEX, ":"),
    ):
        taken = [_line_pa(line, wall, loading, flow) for flow in flows]
        axes.plot(flows, taken, style, color="black", label=name)
    axes.axvline(sizing.required_l_min, color="tab:red", label="needed")
    axes.plot(sizing.likely.airflow_l_min, sizing.likely.fan_pa, "o", label="likely")
    axes.set_xlabel("airflow at the hood (L/min)")
    axes.set_ylabel("pressure (Pa)")
    axes.set_xlim(0.0, last_l_min)
    axes.set_ylim(0.0, 1.1 * max(high))
    axes.set_title("A forecast, not a measurement")
    axes.legend()
    with matplotlib.rc_context({"svg.hashsalt": "linetender"}):
        figure.savefig(path)


def _fan_pa(line: AirLine, airflow_l_min: float) -> float:
    return line.fan.pressure_pa(airflow_l_min, line.air.density_kg_m3, line.speed)


def _line_pa(line: AirLine, wall: Wall, loading: float, airflow_l_min: float) -> float:
    losses = line.losses(wall, loading)
    return sum(loss.pressure_drop_pa(airflow_l_min, line.air) for loss in losses)
