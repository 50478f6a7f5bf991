"""The verb `lint`: is this station file fit to run, and what will it watch?"""

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from linetender.cli.exit_codes import ExitCode
from linetender.cli.line_breaks import text_of
from linetender.cli.lint_packets import is_packet_description, lint_packets
from linetender.cli.recalling import recall_for
from linetender.cli.served_station import state_given
from linetender.core.plan import Plan, Stale
from linetender.core.stages import Priority
from linetender.settings.exceptions_policy import GRANTABLE
from linetender.settings.file_schemas import FILES, file_schema_text
from linetender.settings.forward_file import is_forward_file, load_forwarding
from linetender.settings.leave_sentence import leaves_time
from linetender.settings.load import load_station
from linetender.settings.problems import Finding, Problem, StationFileError
from linetender.settings.remembered import FILTER, PROOF
from linetender.settings.rule_budget import RuleBudget, slowest
from linetender.settings.sounder_file import is_sounder_file, load_sounder
from linetender.settings.station import Station


def _print_schema(kind: str | None) -> None:
    if kind is None:
        return
    if kind not in FILES:
        raise typer.BadParameter(f"{kind!r} is no kind of file: {', '.join(FILES)}")
    typer.echo(file_schema_text(kind), nl=False)
    raise typer.Exit


_State = Annotated[
    Path | None,
    typer.Option("--state", metavar="FOLDER", help="Where what was taught is kept."),
]

_Schema = Annotated[
    str | None,
    typer.Option(
        "--schema",
        metavar="KIND",
        is_eager=True,
        callback=_print_schema,
        help="Print the JSON Schema of a station, sounder or forward file, for editors.",
    ),
]


def lint(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", help="A station file, a forward file, or packets described."
        ),
    ],
    as_json: Annotated[
        bool, typer.Option("--json", help="Print the outcome as one JSON object.")
    ] = False,
    against: Annotated[
        Path | None,
        typer.Option(
            "--against",
            metavar="HEARD",
            help="With a packet description: decode what probe --listen --save wrote.",
        ),
    ] = None,
    state: _State = None,
    schema: _Schema = None,
) -> None:
    """Check a station file: every mistake with its line, and whether it is safe to run.

    It takes the file of a second box too, or a packet description (see --against).

    Exit status: 0 fine, 1 safety findings that the file does not accept, or octets that
    do not fit the description, 2 usage, 3 bad file.

    Example: linetender lint station.toml

    Example: linetender lint --schema station >station.schema.json
    """
    if is_packet_description(file):
        raise typer.Exit(lint_packets(file, against, as_json=as_json))
    _refuse_octets(file, against)
    if is_forward_file(file):
        raise typer.Exit(_lint_forward(file, as_json=as_json))
    if is_sounder_file(file):
        raise typer.Exit(_lint_sounder(file, as_json=as_json))
    _lint_station(file, state, as_json=as_json)


def _refuse_octets(file: Path, against: Path | None) -> None:
    if against is not None:
        raise typer.BadParameter(
            f"{file} describes no packets (it has no service and characteristic), so nothing "
            "can be decoded with it",
            param_hint="--against",
        )


def _lint_sounder(file: Path, *, as_json: bool) -> ExitCode:
    try:
        sounder = load_sounder(file, terminal=True)
    except StationFileError as error:
        typer.echo(_refusal_json(file, error) if as_json else _refusal(file, error))
        return ExitCode.BAD_FILE
    names = [station.id for station in sounder.stations]
    if as_json:
        typer.echo(_json({"file": str(file), "fine": True, "problems": [], "stations": names}))
        return ExitCode.FINE
    lines = [f"{file}: fine. The box {sounder.name} sounds for {', '.join(names)}."]
    roles = {device.output for device in sounder.devices}
    if "buzzer" not in roles:
        lines.append("  It has no buzzer: run it with --terminal.")
    typer.echo(text_of(lines))
    return ExitCode.FINE


def _lint_station(file: Path, state: Path | None, *, as_json: bool) -> None:
    try:
        station = load_station(file, recall=recall_for(state_given(state, file)))
    except StationFileError as error:
        typer.echo(_refusal_json(file, error) if as_json else _refusal(file, error))
        code = ExitCode.FINDINGS if error.is_only_unsafe else ExitCode.BAD_FILE
        raise typer.Exit(code) from error
    typer.echo(_json(_outcome(station)) if as_json else text_of(_lines(station)))
    if station.advice:
        raise typer.Exit(ExitCode.FINDINGS)


def _lint_forward(file: Path, *, as_json: bool) -> ExitCode:
    try:
        forwarding = load_forwarding(file)
    except StationFileError as error:
        typer.echo(_refusal_json(file, error) if as_json else _refusal(file, error))
        return ExitCode.BAD_FILE
    signals = [signal.value for device in forwarding.devices for signal in device.signals]
    if as_json:
        typer.echo(_json({"file": str(file), "fine": True, "problems": [], "signals": signals}))
        return ExitCode.FINE
    fine = f"{file}: fine. The box {forwarding.box} sends {', '.join(signals)}"
    typer.echo(text_of([f"{fine} to the station {forwarding.station}. Nothing is watched here."]))
    return ExitCode.FINE


def _refusal(file: Path, error: StationFileError) -> str:
    count = len(error.problems)
    things = "thing" if count == 1 else "things"
    what = "not safe to run" if error.is_only_unsafe else "cannot be used"
    lines = [line for problem in error.problems for line in _told(problem)]
    return text_of([*lines, f"{file}: {what}, {count} {things} to mend."])


def _told(problem: Problem) -> list[str]:
    """A problem as a place, what is wrong there, and what to do."""
    place = problem.file if problem.line is None else f"{problem.file}:{problem.line}"
    what = f"{problem.key} = {problem.value}" if problem.key and problem.value else problem.key
    lines = [f"{place}: {what}" if what else place, f"  {problem.expected}"]
    lines.append(f"  To mend: {problem.remedy}")
    if isinstance(problem, Finding) and problem.grantable:
        lines.append(
            f'  Or accept it: [[exceptions]] finding = "{problem.name}", reason = "…" '
            f"({GRANTABLE[problem.name]})"
        )
    return lines


def _refusal_json(file: Path, error: StationFileError) -> str:
    return _json({"file": str(file), "fine": False, "problems": _dicts(error.problems)})


def _outcome(station: Station) -> dict[str, Any]:
    return {
        "file": str(station.path),
        "fine": not station.advice,
        "problems": _dicts(station.advice),
        "granted": _dicts(station.findings),
        "station": station.plan.station,
        "arrangement": station.plan.arrangement.value,
        "rules": [
            {"id": rule.id, "priority": rule.priority.value, "say": rule.say}
            for rule in station.plan.rules
        ],
        "exit_time_s": station.plan.exit_time_s,
        "alarm_budgets": [_budget(budget) for budget in station.budgets],
        "exceptions": list(station.plan.exceptions),
        "calibrations": list(station.calibrations),
        "expired": list(station.expired),
    }


def _budget(budget: RuleBudget) -> dict[str, Any]:
    parts = budget.seconds
    seconds = {
        "coast_down_s": parts.coast_down_s,
        "sensing_s": parts.sensing_s,
        "on_delay_s": parts.on_delay_s,
        "reaction_s": parts.reaction_s,
        "needed_s": parts.needed_s,
        "available_s": parts.available_s,
    }
    rounded = {key: round(value, 3) for key, value in seconds.items()}
    return {"rule": budget.rule, **rounded, "is_met": parts.is_met}


def _lines(station: Station) -> list[str]:
    plan = station.plan
    high = sum(1 for rule in plan.rules if rule.priority is Priority.HIGH)
    verdict = "fit to run, with something to know" if station.advice else "fine"
    lines = [
        f"{station.path}: {verdict}. {len(plan.rules)} rules watch the station {plan.station} "
        f"({plan.arrangement}), {high} of them tell the wearer to leave.",
        f"  {_air(plan)}",
        *(f"  {line}" for line in _remembered(station)),
        *(f"  {line}" for line in _blind(plan)),
        *(f"  {line}" for line in _in_time(station)),
    ]
    for finding in station.advice:
        lines += _told(finding)
    if plan.exceptions:
        lines.append("  Less strict than the default, by this file's own reasons:")
        lines += [f"    {exception}" for exception in plan.exceptions]
    lines += [
        f"  Accepted, {finding.name} in line {finding.line}: {finding.expected}."
        for finding in station.findings
    ]
    return lines


def _air(plan: Plan) -> str:
    air = plan.air
    if air is None:
        return "Air: NOT watched. Such a station is never armed."
    text = f"Air: {air.signal} against this line's normal of {air.normal_pa:.3g} Pa"
    if air.zero_pa != 0.0:
        text += f", over the sensor's zero of {air.zero_pa:+.3g} Pa"
    if air.k_l_min is None:
        return f"{text}; not calibrated, so no L/min."
    if air.required_l_min is None:
        return f"{text}; calibrated, but no required airflow is stated."
    return f"{text}, and against the required {air.required_l_min:.4g} L/min."


def _remembered(station: Station) -> list[str]:
    """Say what of that is not in the file but in the station's memory."""
    lines = [f"{_kind_of(each)} on {each['made_at'][:10]}." for each in station.calibrations]
    return [*lines, *station.expired]


def _kind_of(entry: dict[str, Any]) -> str:
    if entry["kind"] == PROOF:
        return f"Proof test, {entry['step'].replace('_', ' ')}: {entry['result']}"
    if entry["kind"] == FILTER:
        return f"Filter: {'new' if entry['was_new'] else 'found in place'}"
    return str(entry["kind"]).capitalize()


def _blind(plan: Plan) -> list[str]:
    """Say which readings must all be gone before the station calls itself blind."""
    return [
        f"Blind ({rule.id}): no reading of {' or '.join(rule.condition.signals)}."
        for rule in plan.rules
        if rule.loss_of_air and isinstance(rule.condition, Stale)
    ]


def _in_time(station: Station) -> list[str]:
    """Say how soon LEAVE sounds, part by part, and what that leaves."""
    last, exit_time_s = slowest(station.budgets), station.plan.exit_time_s
    if last is None or exit_time_s is None:
        return []
    parts = last.seconds
    whole_s = parts.needed_s + exit_time_s
    enough = leaves_time(exit_time_s, station.budgets)
    return [
        f"LEAVE sounds about {last.sounds_after_s:.1f} s after the air fails, at the latest "
        f"by {last.rule}: {last.words}.",
        f"You need {parts.reaction_s:.1f} s to react and {exit_time_s:g} s to leave: "
        f"{whole_s:.1f} s in all. The hood gives {parts.available_s:.1f} s until 3 % "
        f"carbon dioxide{'' if enough else ', so that LEAVE says to open the hood while going'}.",
    ]


def _dicts(problems: tuple[Problem, ...]) -> list[dict[str, Any]]:
    return [problem.as_dict() for problem in problems]


def _json(outcome: dict[str, Any]) -> str:
    return json.dumps(outcome, ensure_ascii=False)
