"""The verb `lint`: is this station file fit to run, and what will it watch?"""

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from linetender.cli.exit_codes import ExitCode
from linetender.core.plan import Plan, Stale
from linetender.core.stages import Priority
from linetender.settings.load import load_station
from linetender.settings.problems import Problem, StationFileError
from linetender.settings.station import Station


def lint(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A station file.")],
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the outcome as one JSON object.")
    ] = False,
) -> None:
    """Check a station file: every mistake with its line, and whether it is safe to run.

    Exit status: 0 fine, 1 well formed but not safe, 3 the file cannot be used.
    """
    try:
        station = load_station(file)
    except StationFileError as error:
        typer.echo(_refusal_json(file, error) if as_json else _refusal(file, error))
        code = ExitCode.FINDINGS if error.is_only_unsafe else ExitCode.BAD_FILE
        raise typer.Exit(code) from error
    typer.echo(_json(_outcome(station)) if as_json else "\n".join(_lines(station)))


def _refusal(file: Path, error: StationFileError) -> str:
    count = len(error.problems)
    things = "thing" if count == 1 else "things"
    what = "not safe to run" if error.is_only_unsafe else "cannot be used"
    lines = [problem.text for problem in error.problems]
    return "\n".join([*lines, f"{file}: {what}, {count} {things} to mend."])


def _refusal_json(file: Path, error: StationFileError) -> str:
    return _json({"file": str(file), "fine": False, "problems": _dicts(error.problems)})


def _outcome(station: Station) -> dict[str, Any]:
    return {
        "file": str(station.path),
        "fine": True,
        "problems": [],
        "granted": _dicts(station.findings),
        "station": station.plan.station,
        "arrangement": station.plan.arrangement.value,
        "rules": [
            {"id": rule.id, "priority": rule.priority.value, "say": rule.say}
            for rule in station.plan.rules
        ],
        "exceptions": list(station.plan.exceptions),
    }


def _lines(station: Station) -> list[str]:
    plan = station.plan
    high = sum(1 for rule in plan.rules if rule.priority is Priority.HIGH)
    lines = [
        f"{station.path}: fine. {len(plan.rules)} rules watch the station {plan.station} "
        f"({plan.arrangement}), {high} of them tell the wearer to leave.",
        f"  {_air(plan)}",
        *(f"  {line}" for line in _blind(plan)),
    ]
    if plan.exceptions:
        lines.append("  Less strict than the default, by this file's own reasons:")
        lines += [f"    {exception}" for exception in plan.exceptions]
    lines += [f"  Accepted: {finding.text}" for finding in station.findings]
    return lines


def _air(plan: Plan) -> str:
    air = plan.air
    if air is None:
        return "Air: NOT watched."
    text = f"Air: {air.signal} against this line's normal of {air.normal_pa:.3g} Pa"
    if air.k_l_min is None:
        return f"{text}; not calibrated, so no L/min."
    if air.required_l_min is None:
        return f"{text}; calibrated, but no required airflow is stated."
    return f"{text}, and against the required {air.required_l_min:.4g} L/min."


def _blind(plan: Plan) -> list[str]:
    """Say which readings must all be gone before the station calls itself blind."""
    return [
        f"Blind ({rule.id}): no reading of {' or '.join(rule.condition.signals)}."
        for rule in plan.rules
        if rule.loss_of_air and isinstance(rule.condition, Stale)
    ]


def _dicts(problems: tuple[Problem, ...]) -> list[dict[str, Any]]:
    return [problem.as_dict() for problem in problems]


def _json(outcome: dict[str, Any]) -> str:
    return json.dumps(outcome, ensure_ascii=False)
