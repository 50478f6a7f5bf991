"""The verb `replay`: does the recorded session give the same alarms again?"""

import multiprocessing
import os
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Annotated

import typer

from linetender.cli.exit_codes import ExitCode
from linetender.cli.replay_job import Job, Redecoding, Replayed
from linetender.cli.replay_progress import ReplayBar
from linetender.cli.replay_report import (
    grouped,
    print_comparison,
    print_json,
    print_outcome,
    print_redecoding,
)
from linetender.core.instants import NEVER_NS, from_seconds, to_seconds
from linetender.recording.what_if import Comparison
from linetender.recording.window import Window

Found = Replayed | str

FromFrames = Annotated[bool, typer.Option("--from-frames", help="Decode recorded frames anew.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object per recording.")]


def replay(
    recordings: Annotated[list[Path], typer.Argument(metavar="FILE", help="Recordings.")],
    station: Annotated[
        Path | None,
        typer.Option("--station", metavar="FILE", help="Compare with another station file."),
    ] = None,
    rules: Annotated[
        Path | None,
        typer.Option("--rules", metavar="FILE", help="Compare with another rule file."),
    ] = None,
    from_s: Annotated[
        float | None,
        typer.Option("--from", min=0, metavar="S", help="Compare from this second on."),
    ] = None,
    until_s: Annotated[
        float | None,
        typer.Option("--until", min=0, metavar="S", help="Compare up to this second."),
    ] = None,
    from_frames: FromFrames = False,
    as_json: AsJson = False,
) -> None:
    """Decide recordings again and compare every event, to the nanosecond.

    With --station or --rules: list side by side what other settings would have said.

    Exit status: 0 all events match, 1 some differ, 2 usage, 3 bad file.

    Example: linetender replay session.jsonl --rules my_rules.toml
    """
    if from_frames and (station or rules):
        raise typer.BadParameter("--from-frames goes with neither --station nor --rules")
    window = _window(from_s, until_s)
    jobs = [Job(path, window, station, rules, from_frames) for path in recordings]
    worst = ExitCode.FINE
    for job, found in _found(jobs, quiet=as_json):
        tell = print_json if as_json else _print
        tell(found, job.path if len(jobs) > 1 else None)
        worst = max(worst, _code_of(found))
    if worst is not ExitCode.FINE:
        raise typer.Exit(worst)


def _window(from_s: float | None, until_s: float | None) -> Window:
    bounds = [s for s in (from_s, until_s) if s is not None]
    if any(not s <= to_seconds(NEVER_NS) for s in bounds):
        raise typer.BadParameter("a finite number of seconds was expected after --from, --until")
    if len(bounds) == 2 and bounds[0] >= bounds[1]:
        raise typer.BadParameter(f"--until {until_s} must come after --from {from_s}")
    return Window(
        0 if from_s is None else from_seconds(from_s),
        NEVER_NS if until_s is None else from_seconds(until_s),
    )


def _found(jobs: list[Job], *, quiet: bool) -> Iterator[tuple[Job, Found]]:
    """Do all jobs and yield what was found in the order of the jobs."""
    started_s = time.monotonic()
    session_s = 0.0
    if len(jobs) == 1:
        with ReplayBar() as bar:
            found: Found = jobs[0].do(bar.told)
        session_s = _session_s(found)
        yield jobs[0], found
    else:
        for job, found in _in_parallel(jobs):
            session_s += _session_s(found)
            yield job, found
    took_s = time.monotonic() - started_s
    if not quiet:
        rate = f" ({grouped(session_s / took_s)} × real time)" if took_s > 0 else ""
        typer.echo(f"Replayed in {took_s:.2g} s{rate}.", err=True)


def _in_parallel(jobs: list[Job]) -> Iterator[tuple[Job, Found]]:
    workers = min(len(jobs), os.cpu_count() or 1)
    context = multiprocessing.get_context("spawn")
    with ReplayBar() as bar, ProcessPoolExecutor(workers, mp_context=context) as pool:
        for number, found in enumerate(pool.map(Job.do_or_say, jobs), 1):
            bar.told(number, len(jobs))
            yield jobs[number - 1], found


def _print(found: Found, path: Path | None) -> None:
    if isinstance(found, str):
        typer.echo(found, err=True)
        return
    if path is not None:
        typer.echo(f"{path}: ", nl=False)
    if isinstance(found, Comparison):
        print_comparison(found)
    elif isinstance(found, Redecoding):
        print_redecoding(found)
    else:
        print_outcome(found)


def _session_s(found: Found) -> float:
    return 0.0 if isinstance(found, str) else found.session_s


def _code_of(found: Found) -> ExitCode:
    if isinstance(found, str):
        return ExitCode.BAD_FILE
    if isinstance(found, Comparison):
        differs = bool(found.timeline)
    elif isinstance(found, Redecoding):
        differs = bool(found.differing or found.outcome.differing)
    else:
        differs = bool(found.differing)
    return ExitCode.FINDINGS if differs else ExitCode.FINE
