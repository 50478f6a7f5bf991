"""The verb `uninstall`: the service is taken back."""

import typer

from linetender.cli.exit_codes import ExitCode
from linetender.cli.install import SYSTEM, ApplyOption, RootOption, perform
from linetender.cli.installation import NotInstallable, read_record, uninstalling


def uninstall(apply: ApplyOption = False, root: RootOption = SYSTEM) -> None:
    """Take back all that `install` wrote: shown first, done with --apply.

    Your station files (/etc/linetender), recordings and calibrations (/var/lib/linetender)
    and the program itself (/opt/linetender) stay; the end of the output says how to delete them.

    Exit status: 0 shown or done, 1 a command failed, 2 usage, 4 nothing is installed.

    Example: linetender uninstall --apply
    """
    try:
        perform(uninstalling(read_record(root), root), apply=apply, root=root)
    except NotInstallable as error:
        typer.echo(str(error), err=True)
        raise typer.Exit(ExitCode.DEVICE) from error
    typer.echo(
        "\nWhat is yours stays. To delete it too, recordings and calibrations included:\n"
        "  sudo rm -r /etc/linetender /var/lib/linetender /opt/linetender\n"
        "  sudo userdel linetender"
    )
