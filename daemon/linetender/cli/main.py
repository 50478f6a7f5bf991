"""The command `linetender`: its verbs, and how every failure is told to a person."""

import errno
import io
import os
import sys
from collections.abc import Callable
from typing import Annotated, Any, NoReturn

import typer

from linetender import __version__
from linetender.annunciation.cautions import CAUTIONS
from linetender.cli.acknowledge import acknowledge
from linetender.cli.bare_flags import Verb, VerbGroup
from linetender.cli.calibrate import calibrate
from linetender.cli.control_client import Unanswered
from linetender.cli.demo import demo
from linetender.cli.end import end
from linetender.cli.exit_codes import ExitCode
from linetender.cli.export import export
from linetender.cli.filter import filter_group
from linetender.cli.forward import forward
from linetender.cli.hold_siren import hold_siren
from linetender.cli.init import init
from linetender.cli.install import install
from linetender.cli.lint import lint
from linetender.cli.out import out
from linetender.cli.own_name import own_name
from linetender.cli.pause_sound import pause_sound
from linetender.cli.plain_output import (
    PLAIN_COLUMNS,
    Plain,
    is_plain_help,
    take_plain,
    taking_plain,
)
from linetender.cli.pre_use import pre_use
from linetender.cli.probe import probe
from linetender.cli.proof import proof
from linetender.cli.remote_sounder import remote_sounder
from linetender.cli.replay import replay
from linetender.cli.report import report
from linetender.cli.reset import reset
from linetender.cli.run import run
from linetender.cli.simulate import simulate
from linetender.cli.size import size
from linetender.cli.start import start
from linetender.cli.status import status
from linetender.cli.test_alarm import test_alarm
from linetender.cli.tune import tune
from linetender.cli.uninstall import uninstall
from linetender.memory.store import MemoryFault
from linetender.recording.errors import RecordingError
from linetender.runtime.broker_login import BrokerSettingsError
from linetender.runtime.single_run import AlreadyRunning
from linetender.settings.problems import StationFileError
from linetender_drivers.errors import DriverConfigError, DriverError
from linetender_drivers.simulated.world_link import WorldGone

DEBUG_VARIABLE = "LINETENDER_DEBUG"
"""Set to 1 in the environment, failures keep their traceback."""

VERBS: dict[str, tuple[Callable[..., Any], ...]] = {
    "Begin": (demo, init, probe, lint, size, calibrate),
    "Watch": (run, remote_sounder, forward),
    "While it watches": (
        status,
        pre_use,
        start,
        acknowledge,
        pause_sound,
        end,
        out,
        reset,
        test_alarm,
        proof,
    ),
    "Service": (install, uninstall, hold_siren),
    "Afterwards": (report, tune, replay, export),
}
"""By the heading under which help lists them. Each verb is a function of its own file;
its name and docstring are the command's."""

GROUPS: dict[str, typer.Typer] = {"simulate": simulate, "filter": filter_group}
"""Verbs with commands of their own."""

GROUP_HEADINGS = {"simulate": "Begin", "filter": "Afterwards"}
"""By which heading help lists them."""

EXPLANATION = "Watches a home-built air line, and makes noise before it becomes dangerous."

FIRST_STEPS = f"""linetender {__version__}
{EXPLANATION}

New here? See it work, with nothing but this computer:

  {{name}} demo

Then answer some questions about your line; that writes its station file:

  {{name}} init

Check it after each change (config/README.md names every key):

  {{name}} lint station.toml

Teach it your line's own pressures, and watch:

  {{name}} calibrate station.toml --teach
  {{name}} run station.toml

All verbs: {{name}} --help
"""
"""With `name` for what a person has to type."""

app = typer.Typer(
    name="linetender",
    cls=VerbGroup,
    help=EXPLANATION,
    epilog="\n\n".join(f"- {caution.short}" for caution in CAUTIONS),
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
    rich_markup_mode="markdown",
)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"linetender {__version__}")
        raise typer.Exit


@app.callback(invoke_without_command=True)
def _first_steps(
    context: typer.Context,
    version: Annotated[
        bool,
        typer.Option("--version", callback=_show_version, is_eager=True, help="Print the version."),
    ] = False,
    plain: Plain = False,
) -> None:
    take_plain(context, plain)
    if context.invoked_subcommand is None:
        typer.echo(FIRST_STEPS.format(name=own_name()))
        for caution in CAUTIONS:
            typer.echo(f"• {caution.short}")


for _heading, _verbs in VERBS.items():
    for _verb in _verbs:
        app.command(cls=Verb, rich_help_panel=_heading)(taking_plain(_verb))
for _name, _group in GROUPS.items():
    for _each in _group.registered_commands:
        _each.cls = Verb
        if _each.callback is not None:
            _each.callback = taking_plain(_each.callback)
    if _group.registered_callback is None:
        _group.callback()(take_plain)
    app.add_typer(_group, name=_name, rich_help_panel=GROUP_HEADINGS[_name])


def main() -> NoReturn:
    """Run the command line and exit; no failure reaches a person as a traceback."""
    _spell_for_any_terminal()
    width = None
    if is_plain_help():
        width = PLAIN_COLUMNS
        for group in (app, *GROUPS.values()):
            group.rich_markup_mode = None
    try:
        try:
            app(prog_name="linetender", terminal_width=width)
        finally:
            sys.stdout.flush()  # a full disk may show only now
    except Exception as failure:
        if os.environ.get(DEBUG_VARIABLE) == "1":
            raise
        if isinstance(_cause(failure), BrokenPipeError):
            # As any program whose reader, such as `head`, has seen enough.
            _drop_output()
            sys.exit(ExitCode.FINE)
        code, message = told(failure)
        typer.echo(message, err=True)
        if _has_no_room_to_print(_cause(failure)):
            _drop_output()
        sys.exit(code)
    sys.exit(ExitCode.FINE)


def _spell_for_any_terminal() -> None:
    """Where a terminal lacks a character, such as a bullet in Latin-1, print a question mark."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def _has_no_room_to_print(cause: Exception) -> bool:
    return isinstance(cause, OSError) and cause.errno == errno.ENOSPC and cause.filename is None


def _drop_output() -> None:
    """Keep Python from writing at its end what could not be written before."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def told(failure: Exception) -> tuple[ExitCode, str]:
    """Return the exit code for a failure, and what a person needs to hear about it."""
    cause = _cause(failure)
    if isinstance(cause, StationFileError | RecordingError):
        return ExitCode.BAD_FILE, str(cause)
    if isinstance(cause, BrokerSettingsError | MemoryFault):
        return ExitCode.BAD_FILE, str(cause)
    if isinstance(cause, Unanswered):
        return ExitCode.DEVICE, str(cause)
    if isinstance(cause, AlreadyRunning):
        return ExitCode.ALREADY_RUNNING, str(cause)
    if isinstance(cause, WorldGone):
        return ExitCode.DEVICE, f"{cause}. Nothing is being watched now."
    if isinstance(cause, DriverConfigError):
        return ExitCode.DEVICE, f"{cause}.\nNothing is being watched now."
    if isinstance(cause, DriverError):
        return ExitCode.DEVICE, (
            f"{cause}.\nCheck its plug, wiring and address, then start again. "
            "Nothing is being watched now."
        )
    if isinstance(cause, OSError) and cause.filename is not None:
        return ExitCode.BAD_FILE, (
            f"{cause.filename}: {cause.strerror}. Check the path, the permissions and the disk."
        )
    if _has_no_room_to_print(cause):
        return ExitCode.BAD_FILE, (
            "What was to be printed could not be written: the disk it goes to is full. "
            "Free some space, or send it elsewhere."
        )
    return ExitCode.FAULT, (
        f"linetender has stopped: {type(cause).__name__}: {cause}\n"
        "This is a mistake in linetender, not yours. Nothing is being watched now.\n"
        f"To report it, run the same again with {DEBUG_VARIABLE}=1 and send what it prints."
    )


def _cause(failure: Exception) -> Exception:
    """Take a failure out of the groups that tasks wrap it in, the first where there are more."""
    while isinstance(failure, ExceptionGroup):
        failure = failure.exceptions[0]
    return failure
