"""The verb `proof`: break the line on purpose, and measure how soon the alarms sound."""

import sys
from functools import partial
from typing import Annotated

import msgspec
import typer

from linetender.cli.control_client import JsonOption, StationOption, Unanswered, connect
from linetender.cli.exit_codes import ExitCode
from linetender.cli.line_breaks import text_of
from linetender.cli.proof_guide import NotDone, ProofGuide, Stopped
from linetender.cli.proof_words import SAFETY, list_lines, summary_lines
from linetender.cli.typed_lines import TypedLines
from linetender.core.proof import ProofKind, ProofResult, ProofStep
from linetender.core.stages import Stage
from linetender.runtime.control_messages import Arguments, Ask
from linetender.runtime.proof_messages import ProofView

StepOption = Annotated[
    ProofKind | None, typer.Option("--step", metavar="NAME", help="Only this step.")
]
SecondsOption = Annotated[
    float | None,
    typer.Option(
        "--seconds",
        metavar="SECONDS",
        min=0.1,
        max=3600.0,
        help="With --step walk: it took so long.",
    ),
]
ListOption = Annotated[bool, typer.Option("--list", help="Print past proof tests, and no more.")]


def proof(
    step: StepOption = None,
    seconds: SecondsOption = None,
    past: ListOption = False,
    station: StationOption = None,
    as_json: JsonOption = False,
) -> None:
    """Prove on the real line that its alarms come in time: plug pulled, duct off, way out walked.

    In clean air, with the hood OFF the head. Each step says what to do, measures from the
    cause to the sound, and keeps the result. Ctrl-C or `q` keeps what was measured.

    Exit status: 0 all passed (or skipped with a reason), 1 something failed or was not
    done, 2 usage, 4 no daemon answers. With --json each result is a line, then how it
    stands as a whole; what to do is told on the error output.

    Example: linetender proof --step walk
    """

    if seconds is not None and step is not ProofKind.WALK:
        raise typer.BadParameter("only the walk is told in seconds: --step walk --seconds S")
    ask = partial(_ask, station)
    view = ask(Arguments())
    if past:
        typer.echo(msgspec.json.encode(view).decode() if as_json else text_of([*list_lines(view)]))
        return
    _refuse_worn(station)
    steps = _steps(view, step)
    guide = ProofGuide(ask, TypedLines(0), _Say(is_aside=as_json))
    if seconds is None:
        _lead(guide, view, steps, settles=step is None)
    else:
        guide.tell(steps[0], seconds)
    _conclude(guide, ask(Arguments()), steps, as_json=as_json)
    results = [guide.done.get(one.kind.value) for one in steps]
    if any(one is None or one.result == ProofResult.FAILED for one in results):
        raise typer.Exit(ExitCode.FINDINGS)


def _ask(station: str | None, args: Arguments) -> ProofView:
    # A connection of its own each time: between two of them simulated time may pass.
    with connect(station) as client:
        answer = client.ask(Ask.PROOF, args)
    if not isinstance(answer.proof, ProofView):
        raise Unanswered(f"the daemon knows no proof test ({answer.error}): start it anew")
    if not answer.ok:
        raise NotDone(str(answer.error))
    return answer.proof


def _steps(view: ProofView, step: ProofKind | None) -> tuple[ProofStep, ...]:
    steps = tuple(one for one in view.steps if step in (None, one.kind))
    if not steps:
        names = ", ".join(one.kind.value for one in view.steps)
        raise typer.BadParameter(f"this station has no step {step}; it has {names}")
    return steps


class _Say:
    """Tells lines, at once; beside the output where that is for a program."""

    def __init__(self, *, is_aside: bool) -> None:
        self._is_aside = is_aside

    def __call__(self, line: str) -> None:
        blank = line[: len(line) - len(line.lstrip("\n"))]
        typer.echo(blank + text_of(line.strip("\n").split("\n")), err=self._is_aside)
        (sys.stderr if self._is_aside else sys.stdout).flush()


def _refuse_worn(station: str | None) -> None:
    with connect(station) as client:
        stage = client.status().snapshot.stage
    if stage is Stage.WORN:
        typer.echo(
            "Not done: the station takes the hood as worn, and a proof test has nobody in it.\n"
            "Leave, take the hood and the oximeter off, then: linetender end --wearer",
            err=True,
        )
        raise typer.Exit(ExitCode.FINDINGS)


def _lead(
    guide: ProofGuide, view: ProofView, steps: tuple[ProofStep, ...], *, settles: bool
) -> None:
    """Go through steps, until their end or the person's."""
    say = guide.say
    for line in SAFETY:
        say(line)
    try:
        if settles:
            guide.settle_pending(view)
        guide.lead(steps)
    except Stopped:
        say("\nStopped.")
    except EOFError:
        say("\nNobody types any more: stopped.")
    except KeyboardInterrupt:
        say("\nStopped by Ctrl-C.")
    except NotDone as refused:
        say(f"\nNot done: {refused}.")


def _conclude(
    guide: ProofGuide, view: ProofView, steps: tuple[ProofStep, ...], *, as_json: bool
) -> None:
    if as_json:
        for one in guide.done.values():
            typer.echo(msgspec.json.encode(one).decode())
        typer.echo(msgspec.json.encode(view).decode())
        return
    typer.echo("\n" + text_of([*summary_lines(view, steps, guide.done)]))
