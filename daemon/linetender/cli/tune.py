"""The verb `tune`: what other limits of an air rule would have meant on one's own recordings."""

import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import msgspec
import typer

from linetender.cli.line_breaks import WIDEST_COLUMNS, text_of
from linetender.cli.plain_output import is_plain
from linetender.cli.recalling import recall_for
from linetender.cli.replay_progress import ReplayBar
from linetender.cli.served_station import state_given
from linetender.core.instants import to_seconds
from linetender.core.plan import Below, RulePlan
from linetender.reports.new_file import expect_new, new_file
from linetender.reports.session_files import session_files
from linetender.reports.tune_plot import TunePlot, draw_tuning
from linetender.reports.tune_table import curve, table
from linetender.reports.tuning import (
    Counts,
    Grid,
    Outcome,
    budget_of,
    counted_all,
    covered,
    outcomes,
    preferred,
)
from linetender.settings.load import station_of, validated
from linetender.settings.remembered import Recall
from linetender.settings.rule_trial import is_refused
from linetender.settings.station import Station
from linetender.settings.toml_file import TomlFile, read_toml

AROUND_PERCENT = (-20.0, -15.0, -10.0, -5.0, 0.0, 5.0, 10.0, 15.0)
"""Limits that are tried where none are named, beside the present one (chosen)."""

LEAST_WORN_H = 10.0
"""Nothing is suggested from less (chosen: some five sessions)."""

DELAYS_S = (0.5, 1.0, 1.5, 2.0, 3.0, 5.0, 8.0, 10.0)
"""Delays that are tried where none are named (chosen)."""

Rule = Annotated[
    str, typer.Option("--rule", metavar="ID", help="The rule: it compares air with a lower limit.")
]
Limits = Annotated[
    str | None,
    typer.Option("--limits", metavar="P,P,...", help="Limits to try, % of the session's normal."),
]
Deadbands = Annotated[
    str | None, typer.Option("--deadbands", metavar="P,P,...", help="Deadbands to try, %.")
]
Delays = Annotated[
    str | None, typer.Option("--delays", metavar="S,S,...", help="On-delays to try, s.")
]
Plot = Annotated[
    Path | None, typer.Option("--plot", metavar="SVG", help="Also draw alarms against delay.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print the outcome as one JSON object.")]
Force = Annotated[bool, typer.Option("--force", help="Replace a plot that is there already.")]
State = Annotated[
    Path | None,
    typer.Option("--state", metavar="FOLDER", help="Where what was taught is kept."),
]


@dataclass(frozen=True)
class _Tuned:
    """What was found for one rule of one station."""

    station: Station
    rule: RulePlan
    grid: Grid
    counts: Counts
    found: tuple[Outcome, ...]
    present: Outcome
    suggested: Outcome | None
    latest_s: float


def tune(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The station file.")],
    recordings: Annotated[
        list[Path], typer.Argument(metavar="RECORDING", help="Recordings of this line.")
    ],
    rule: Rule = "air_lost",
    limits: Limits = None,
    deadbands: Deadbands = None,
    delays: Delays = None,
    plot: Plot = None,
    as_json: AsJson = False,
    force: Force = False,
    state: State = None,
) -> None:
    """Weigh false alarms against delay on your own recordings.

    Judges each combination of limit, deadband and delay on every session, and reckons how
    soon a fan that stops is heard. What it suggests fits into the time that the air in the
    hood gives, and passes lint; nothing is changed. reports/README.md tells more.

    Exit status: 0 done, 2 usage, 3 bad file.

    Example: linetender tune station.toml recordings/*.jsonl

    Example: linetender tune station.toml a.jsonl --limits 55,60,65,70 --delays 1,2,4 --plot a.svg
    """
    if plot is not None:
        expect_new(plot, replaces=force)
    toml = read_toml(file)
    recall = recall_for(state_given(state, file))
    station = station_of(toml, file, recall=recall)
    plan = _rule_of(station, rule)
    grid = _grid(plan, limits, deadbands, delays)
    with ReplayBar("Judging") as bar:
        counts = counted_all(session_files(recordings), grid, bar.told)
    tuned = _weighed(station, plan, grid, counts, toml, recall)
    if plot is not None:
        with new_file(plot, replaces=force) as drawing:
            drawing.write(draw_tuning(_plot_of(tuned)).encode())
    _tell(tuned, plot, as_json=as_json)


def _tell(tuned: _Tuned, plot: Path | None, *, as_json: bool) -> None:
    if as_json:
        typer.echo(msgspec.json.encode(_facts(tuned)).decode())
        return
    _print(tuned)
    if plot is not None:
        typer.echo(f"\nDrawn: {plot}")


def _rule_of(station: Station, name: str) -> RulePlan:
    rules = {rule.id: rule for rule in covered(station.plan)}
    if name not in rules:
        known = ", ".join(rules) or "none"
        raise typer.BadParameter(
            f"{name}: not a rule of this station that compares air_percent_of_baseline with "
            f"`below`. Those that can be tuned: {known}",
            param_hint="--rule",
        )
    return rules[name]


def _grid(rule: RulePlan, limits: str | None, deadbands: str | None, delays: str | None) -> Grid:
    condition = rule.condition
    assert isinstance(condition, Below), "covered rules compare with a lower limit"
    on_delay_s = to_seconds(rule.on_delay_ns)
    around = {condition.limit + step for step in AROUND_PERCENT}
    return Grid(
        limits_percent=_with(
            condition.limit,
            _numbers(limits, "--limits", 1.0, 99.0)
            or {limit for limit in around if 5.0 <= limit <= 95.0},
        ),
        deadbands_percent=_with(condition.deadband, _numbers(deadbands, "--deadbands", 0.0, 50.0)),
        on_delays_s=_with(on_delay_s, _numbers(delays, "--delays", 0.0, 120.0) or set(DELAYS_S)),
        off_delay_s=to_seconds(rule.off_delay_ns),
        killer=rule.killer,
    )


def _with(present: float, others: set[float]) -> tuple[float, ...]:
    """The present value is judged as well: everything is held against it."""
    return tuple(sorted({present, *others}))


def _numbers(text: str | None, option: str, least: float, most: float) -> set[float]:
    if text is None:
        return set()
    try:
        numbers = {float(part) for part in text.split(",")}
    except ValueError:
        numbers = set()
    if not numbers or not all(least <= number <= most for number in numbers):
        raise typer.BadParameter(
            f"{text!r}: expected numbers from {least:g} to {most:g} with commas between them",
            param_hint=option,
        )
    return numbers


def _weighed(
    station: Station, rule: RulePlan, grid: Grid, counts: Counts, toml: TomlFile, recall: Recall
) -> _Tuned:
    budget = budget_of(station.plan, station.budgets)
    if budget is None:
        raise typer.BadParameter(
            "no rule of this station tells to leave when air falls under a limit, so there is "
            "no alarm budget to hold a limit against",
            param_hint="FILE",
        )
    found = outcomes(grid, counts, budget, validated(toml).fan.coast_down_s)
    condition = rule.condition
    assert isinstance(condition, Below), "covered rules compare with a lower limit"
    now = (condition.limit, condition.deadband, to_seconds(rule.on_delay_ns))
    present = next(one for one in found if msgspec.structs.astuple(one.settings) == now)
    best = preferred(found, station.plan.exit_time_s)
    # What is in force already counts as good as another that is no better in either respect.
    best.sort(key=lambda one: (one.alarms, one.heard_after_s, one != present))
    suggested = None
    if _is_enough(counts) and counts.without_air < counts.sessions:
        suggested = next((one for one in best if _passes(toml, station, rule, one, recall)), None)
    latest_s = budget.seconds.available_s - budget.seconds.reaction_s
    return _Tuned(station, rule, grid, counts, found, present, suggested, latest_s)


def _passes(toml: TomlFile, station: Station, rule: RulePlan, one: Outcome, recall: Recall) -> bool:
    return not is_refused(toml, station.path, rule.id, _changes(one), recall)


def _changes(one: Outcome) -> dict[str, float]:
    settings = one.settings
    return {
        "below": settings.limit_percent,
        "deadband": settings.deadband_percent,
        "on_delay_s": settings.on_delay_s,
    }


def _is_enough(counts: Counts) -> bool:
    return round(counts.worn_s / 3600, 1) >= LEAST_WORN_H


def _plot_of(tuned: _Tuned) -> TunePlot:
    title = f"{tuned.rule.id} of {tuned.station.plan.station}: {_length(tuned.counts)}"
    return TunePlot(title, tuned.found, tuned.present, tuned.suggested, tuned.latest_s)


def _length(counts: Counts) -> str:
    sessions = "1 session" if counts.sessions == 1 else f"{counts.sessions} sessions"
    hours = counts.worn_s / 3600
    worn = f"{hours:.1f} h" if hours >= 1.0 else f"{counts.worn_s / 60:.0f} min"
    return f"{worn} worn in {sessions}"


def _not_covered(tuned: _Tuned) -> list[str]:
    names = {rule.id for rule in covered(tuned.station.plan)}
    return [rule.id for rule in tuned.station.plan.rules if rule.id not in names]


def _facts(tuned: _Tuned) -> dict[str, object]:
    return {
        "station": tuned.station.plan.station,
        "rule": tuned.rule.id,
        "sessions": tuned.counts.sessions,
        "sessions_without_air": tuned.counts.without_air,
        "worn_s": tuned.counts.worn_s,
        "latest_sound_s": round(tuned.latest_s, 3),
        "exit_time_s": tuned.station.plan.exit_time_s,
        "outcomes": tuned.found,
        "present": tuned.present,
        "suggested": tuned.suggested,
        "rules_not_covered": _not_covered(tuned),
    }


def _print(tuned: _Tuned) -> None:
    columns = min(shutil.get_terminal_size((80, 24)).columns, WIDEST_COLUMNS)
    lines = [
        f"{tuned.rule.id}: {_sentence('With the limits of the station file', tuned.present, tuned)}"
    ]
    if tuned.counts.without_air:
        lines.append(f"No reading of air in {tuned.counts.without_air} of the sessions.")
    typer.echo(text_of(lines))
    typer.echo("\n".join(table(tuned.grid, tuned.found, tuned.present, columns)))
    typer.echo("  * station file; in brackets: too late for the air in the hood")
    typer.echo("\n".join(curve(tuned.found, tuned.latest_s, bars=not is_plain())))
    typer.echo("\n" + text_of([*_advice(tuned), *_caveats(tuned)]))


def _sentence(lead: str, one: Outcome, tuned: _Tuned) -> str:
    alarms = "1 alarm" if one.alarms == 1 else f"{one.alarms} alarms"
    return (
        f"{lead} ({one.settings.limit_percent:g} %, deadband {one.settings.deadband_percent:g} %, "
        f"delay {one.settings.on_delay_s:g} s) there would have been {alarms} in "
        f"{_length(tuned.counts)}, and a fan that stops is heard after {one.heard_after_s:.1f} s."
    )


def _advice(tuned: _Tuned) -> list[str]:
    one = tuned.suggested
    if tuned.counts.without_air == tuned.counts.sessions:
        return ["Nothing is suggested: there is no reading of air."]
    if not _is_enough(tuned.counts):
        return [f"Nothing is suggested: that takes {LEAST_WORN_H:g} h with the hood on, or more."]
    if one is None:
        return ["Nothing is suggested: none of these fits into the alarm budget and passes lint."]
    if one == tuned.present:
        return [
            "Suggested: leave it as it is. None of these gives fewer alarms in the time there is."
        ]
    changed = [
        f"  {key} = {value:g}"
        for key, value in _changes(one).items()
        if value != _changes(tuned.present)[key]
    ]
    return [
        _sentence("Suggested: with", one, tuned),
        *_bound(one, tuned.counts),
        *_untold(one, tuned.present),
        "In the station file:",
        f"  [rules.change.{tuned.rule.id}]",
        *changed,
        '  A limit looser than that of the rule set also needs your reason = "…" there.',
    ]


def _bound(one: Outcome, counts: Counts) -> list[str]:
    """Say what no alarm proves: 3 over the time is the 95 % upper bound of the rate."""
    if one.alarms:
        return []
    hours = counts.worn_s / 3600 / 3
    return [f"None in so long may still mean one in {hours:.0f} h (95 % bound, rule of three)."]


def _untold(one: Outcome, present: Outcome) -> list[str]:
    """Say what a lower limit gives up: a fan that stops crosses it, other faults may not."""
    low, high = one.settings.limit_percent, present.settings.limit_percent
    if low >= high:
        return []
    return [
        f"But air that falls to between {low:g} and {high:g} % and stays there, as with a pinched "
        "duct, would no longer be told by this rule: weigh that, or name --limits from there on."
    ]


def _caveats(tuned: _Tuned) -> list[str]:
    return [
        "Every alarm is counted, a true one as well: look at each with report. The rule is judged "
        "by itself, while the hood was worn; what other rules suppress is left out.",
        f"A sound after {tuned.latest_s:.1f} s comes too late for the air in the hood.",
        f"Not covered: {', '.join(_not_covered(tuned))}.",
    ]
