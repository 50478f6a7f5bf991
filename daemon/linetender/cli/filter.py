"""The verb `filter`: how the filter stands, when it will be due, and that it was changed."""

import json
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from linetender.airline.filter_history import FilterHistory
from linetender.cli.bare_flags import VerbGroup
from linetender.cli.exit_codes import ExitCode
from linetender.cli.filter_words import standing_lines
from linetender.cli.recalling import recall_for
from linetender.cli.served_station import state_given
from linetender.cli.state_folder import state_folder
from linetender.memory.filters import filters_in, fit_filter
from linetender.memory.store import open_store
from linetender.runtime.clock import read_wall_clock
from linetender.settings.filter_care import date_text, filter_entry
from linetender.settings.load import load_station
from linetender.settings.station import FilterStanding, Station

USUAL_FILE = Path("station.toml")

File = Annotated[Path, typer.Argument(metavar="FILE", help="The station file.")]
State = Annotated[
    Path | None,
    typer.Option("--state", metavar="FOLDER", help="Where what outlives a restart is kept."),
]
Json = Annotated[bool, typer.Option("--json", help="Print JSON.")]


class _StandingOrChange(VerbGroup):
    """Whatever is not a command is the station file whose filter is asked for."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        if not args or (args[0] not in self.commands and args[0] not in ("--help", "-h")):
            args = ["status", *args]
        return super().parse_args(ctx, args)


filter_group = typer.Typer(
    cls=_StandingOrChange,
    rich_markup_mode="markdown",
    help="""Show how loaded the filter is and when it will be due: `filter FILE`.

Without a command it is `filter status`; without FILE it is `station.toml` in this folder.
Say each change of the filter with `filter changed`: what is foretold begins anew.

Exit status: 0 in date, 1 due, 2 usage, 3 bad file, or one without a filter.

Example: linetender filter station.toml
""",
)


@filter_group.command()
def status(file: File = USUAL_FILE, state: State = None, as_json: Json = False) -> None:
    """Show its hours, its trend, and when it will be due, with the 90 % interval.

    Exit status: 0 in date, or nothing says; 1 due; 2 usage; 3 bad file.

    Example: linetender filter status station.toml
    """
    state = state_given(state, file)
    standing = _standing(load_station(file, recall=recall_for(state)))
    now_s = datetime.now().astimezone().timestamp()
    outlook = standing.outlook
    if as_json:
        typer.echo(json.dumps(None if outlook is None else filter_entry(outlook)))
    else:
        for line in standing_lines(standing, now_s):
            typer.echo(line)
    if outlook is not None and outlook.due_s is not None and outlook.due_s <= now_s:
        raise typer.Exit(ExitCode.FINDINGS)


@filter_group.command()
def changed(
    file: File = USUAL_FILE,
    on: Annotated[
        str | None,
        typer.Option("--on", metavar="DATE", help="When: 2031-03-03 or 2031-03-03T18:30. Or now."),
    ] = None,
    label: Annotated[str, typer.Option("--label", help="What its label says, or a note.")] = "",
    state: State = None,
    as_json: Json = False,
) -> None:
    """Record that a new filter was fitted: hours and trend begin anew.

    A running station takes it from its next look on. Exit status: 0 recorded, 2 usage, 3 bad
    file.

    Example: linetender filter changed station.toml --on 2031-03-03
    """
    state = state_given(state, file)
    station = load_station(file, recall=recall_for(state))
    _standing(station)
    fitted_s = _instant(on)
    label = label or _class(station)
    folder = state_folder(state, station.plan.station)
    before = _record(folder, fitted_s, label, is_told_later=on is not None)
    if as_json:
        typer.echo(json.dumps({"fitted_at": date_text(fitted_s), "label": label}))
        return
    old = "" if before is None else f" The one before had {before.hours:.1f} h of use."
    typer.echo(f"A new filter since {date_text(fitted_s)[:16].replace('T', ' ')}.{old}")
    typer.echo("Make a pre-use check before the next use: a new filter may bring more air.")


def _record(
    folder: Path, fitted_s: float, label: str, *, is_told_later: bool
) -> FilterHistory | None:
    """Keep that a new filter was fitted; return the one before, if anything is kept of it."""
    with open_store(folder) as store:
        before = filters_in(store)
        if before and fitted_s < before[-1].fitted_s:
            raise typer.BadParameter(
                f"the filter in place was fitted on {date_text(before[-1].fitted_s)}, which is "
                "later; give a later date",
                param_hint="--on",
            )
        fit_filter(
            store,
            fitted_s,
            synchronised=is_told_later or read_wall_clock().synchronised,
            is_new=True,
            label=label,
            takes_since=is_told_later,
        )
    return before[-1] if before else None


def _standing(station: Station) -> FilterStanding:
    if station.filter is None:
        typer.echo(
            f"{station.path} tells of no filter, so nothing is kept of one. Add a table [filter] "
            "with medium, width_mm and height_mm, or rated_pa and rated_airflow_l_min; "
            "config/README.md has its keys.",
            err=True,
        )
        raise typer.Exit(ExitCode.BAD_FILE)
    return station.filter


def _class(station: Station) -> str:
    return str(station.shown.get("filter", {}).get("efficiency_class", ""))


def _instant(text: str | None) -> float:
    now = datetime.now().astimezone()
    if text is None:
        return now.timestamp()
    try:
        then = datetime.fromisoformat(text).astimezone()
    except (ValueError, OverflowError) as error:
        raise typer.BadParameter(
            f"{text!r} is no date; write 2031-03-03, or 2031-03-03T18:30", param_hint="--on"
        ) from error
    if then > now:
        raise typer.BadParameter(f"{text} is still to come", param_hint="--on")
    return then.timestamp()
