"""The verb `install`: linetender as a service that starts with the computer."""

import shutil
import subprocess
from pathlib import Path
from typing import Annotated

import typer

from linetender.cli.control_client import Unanswered, connect
from linetender.cli.exit_codes import ExitCode
from linetender.cli.installation import (
    CURRENT,
    Change,
    Generation,
    NotInstallable,
    Record,
    below,
    carry_out,
    installing,
    read_record,
    rolling_back,
    this_generation,
    unit_of,
)
from linetender.core.stages import Stage

ApplyOption = Annotated[
    bool, typer.Option("--apply", help="Do it; else it is only shown. Needs root.")
]
RootOption = Annotated[
    Path,
    typer.Option("--root", metavar="DIR", help="Write into the system below DIR; run nothing."),
]
SYSTEM = Path("/")
SYSTEMD_RUNS = Path("/run/systemd/system")


class NotStarted(typer.Exit):
    """A service did not come up: systemd had to be told that it watches, and was not."""


def install(
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="FILE",
            help="Files in /etc/linetender to run as services: stations and second boxes.",
        ),
    ] = None,
    apply: ApplyOption = False,
    roll_back: Annotated[
        bool, typer.Option("--roll-back", help="Go back to what was installed before.")
    ] = False,
    root: RootOption = SYSTEM,
) -> None:
    """Install the service: show each file and command first, and do it with --apply.

    Without FILE what ran before is updated to this version. systemd/README.md has the whole
    path, from an empty computer to a station that starts by itself.

    Exit status: 0 shown or done, 1 a command failed, 2 usage, 3 bad file, 4 not possible here.

    Example: linetender install /etc/linetender/shed.toml --apply
    """
    if roll_back and files:
        raise typer.BadParameter("--roll-back takes no FILE: it restores what was there")
    try:
        record = read_record(root)
        if roll_back:
            change = rolling_back(record)
        else:
            change = installing(_generation(files or [], record), record, root)
        try:
            perform(change, apply=apply, root=root)
        except NotStarted as error:
            if not roll_back:
                _go_back(record, root)
            raise typer.Exit(ExitCode.FINDINGS) from error
    except NotInstallable as error:
        typer.echo(str(error), err=True)
        raise typer.Exit(ExitCode.DEVICE) from error


def _generation(files: list[Path], record: Record) -> Generation:
    before = record.now.units if record.now else ()
    units = dict.fromkeys((*before, *(unit_of(file) for file in files)))
    return this_generation(tuple(units))


def _go_back(before: Record, root: Path) -> None:
    """Undo an update whose service does not start: an old watcher is better than none."""
    record = read_record(root)
    if before.now is None or record.before != before.now:
        return  # a first installation, or the same one again
    typer.echo(f"\nThe new version does not start. Going back to {before.now.version}.\n")
    perform(rolling_back(record), apply=True, root=root)


def perform(change: Change, *, apply: bool, root: Path) -> None:
    """Show a change, and with `apply` make it.

    Raises:
        NotInstallable: the hood is worn, or there is no systemd here.
        NotStarted: a service does not start.
        typer.Exit: another command failed.
    """
    _show(change, root)
    if not apply:
        typer.echo("\nNothing was changed. Add --apply to do this (as root).")
        return
    if root == SYSTEM:
        _refuse_in_use()
        if not SYSTEMD_RUNS.is_dir():
            raise NotInstallable(
                "systemd does not run here, so there is no service to install. "
                "With --root DIR the files can be written into an image."
            )
    runs = root == SYSTEM
    failed = [each for each in change.first if runs and not _works(each)]
    carry_out(change, root)
    failed += [each for each in change.commands if runs and not _works(each)]
    typer.echo("\nDone." if not failed else f"\nDone, but for {len(failed)} command(s) above.")
    if any(each[:2] == ("systemctl", "restart") for each in failed):
        raise NotStarted(ExitCode.FINDINGS)
    if failed:
        raise typer.Exit(ExitCode.FINDINGS)


def _show(change: Change, root: Path) -> None:
    runs = root == SYSTEM
    for command in change.first if runs else ():
        typer.echo(f"run {' '.join(command)}")
    for path, text in change.writes.items():
        typer.echo(f"write {below(root, Path(path))}:")
        typer.echo("".join(f"    {line}\n" for line in text.splitlines()), nl=False)
    for path in change.removes:
        typer.echo(f"remove {below(root, Path(path))}")
    for path in change.left:
        typer.echo(f"leave {below(root, Path(path))}: it was changed since, so it is yours")
    link = below(root, CURRENT)
    typer.echo(f"remove {link}" if change.link is None else f"link {link} -> {change.link}")
    for command in change.commands if runs else ():
        typer.echo(f"run {' '.join(command)}")


def _refuse_in_use() -> None:
    """No update may interrupt a use."""
    try:
        with connect(None) as client:
            status = client.status()
    except (Unanswered, typer.BadParameter):
        return
    if status.snapshot.stage is Stage.WORN:
        raise NotInstallable(
            f"The hood of station {status.station!r} is worn: nothing is changed meanwhile. "
            "End the use, then try again."
        )


def _works(command: tuple[str, ...]) -> bool:
    found = shutil.which(command[0])
    if found is None:
        typer.echo(f"{command[0]}: not found", err=True)
        return False
    done = subprocess.run([found, *command[1:]], check=False, capture_output=True, text=True)
    if done.returncode:
        told = (done.stderr or done.stdout).strip()
        typer.echo(f"{' '.join(command)}: {told or f'exit {done.returncode}'}", err=True)
    return done.returncode == 0
