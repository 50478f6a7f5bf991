"""The verb `size`: what will this line bring, and what can tell that it does?"""

import importlib.util
import json
from pathlib import Path
from typing import Annotated

import typer

from linetender.cli.exit_codes import ExitCode
from linetender.cli.line_breaks import broken_at
from linetender.cli.recalling import recall_for
from linetender.cli.served_station import state_given
from linetender.cli.size_data import plain
from linetender.cli.size_sheet import COLUMNS, sheet
from linetender.settings.sized_station import SizedStation, size_station

INSTALL_LINE = "pip install 'linetender[report]'"

KINDS = (".png", ".svg", ".pdf")
"""Kinds of plots, by the ending of the file's name."""


def size(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A station file.")],
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the forecast as one JSON object.")
    ] = False,
    plot: Annotated[
        Path | None,
        typer.Option("--plot", metavar="FILE", help="Also draw fan and line (.png, .svg, .pdf)."),
    ] = None,
    state: Annotated[
        Path | None,
        typer.Option("--state", metavar="FOLDER", help="Where what was taught is kept."),
    ] = None,
) -> None:
    """Reckon airflow, signals and alarms of a line before it is built.

    The station file draws the line with [fan], [filter], [[duct]], hood.outlet_cm2 and
    [intake]. It is a forecast, not a measurement.

    Exit status: 0 the line fits, 1 something speaks against it, 2 usage, or no matplotlib
    for --plot, 3 bad file.

    Example: linetender size station.toml

    Example: linetender size station.toml --plot line.png
    """
    if plot is not None:
        _require_drawable(plot)
    sized = size_station(file, recall_for(state_given(state, file)))
    if as_json:
        typer.echo(json.dumps(plain(sized), ensure_ascii=False))
    else:
        typer.echo("\n".join(part for line in sheet(sized) for part in _whole_or_broken(line)))
    if plot is not None:
        _draw(sized, plot)
    if sized.findings:
        raise typer.Exit(ExitCode.FINDINGS)


def _whole_or_broken(line: str) -> list[str]:
    """Leave rows of tables, and blank lines, as they are."""
    return [line] if len(line) <= COLUMNS else broken_at(line, COLUMNS)


def _require_drawable(plot: Path) -> None:
    if importlib.util.find_spec("matplotlib") is None:
        typer.echo(
            f"--plot {plot} needs matplotlib, which is not installed: {INSTALL_LINE}\n"
            "Without --plot, size works as it is.",
            err=True,
        )
        raise typer.Exit(ExitCode.USAGE)
    if plot.suffix.lower() not in KINDS:
        raise typer.BadParameter(f"--plot {plot}: expected a name that ends in {', '.join(KINDS)}")


def _draw(sized: SizedStation, plot: Path) -> None:
    from linetender.cli.size_plot import draw  # only here: matplotlib may be missing

    draw(sized.sizing, plot)
    typer.echo(f"Drawn: {plot}", err=True)
