"""The verb `reset`."""

from typing import Annotated

import typer

from linetender.cli.control_client import JsonOption, StationOption, order
from linetender.runtime.control_messages import Arguments, Ask


def reset(
    rule: Annotated[
        str, typer.Option("--rule", metavar="RULE", help="Only this rule's alarm; else all.")
    ] = "",
    station: StationOption = None,
    as_json: JsonOption = False,
) -> None:
    """End alarms that are over and were answered, and are still shown.

    Exit status: 0 done, 1 refused (the reason is said), 2 usage, 4 no daemon answers.

    Example: linetender reset
    """
    order(Ask.RESET, station, Arguments(rule=rule), as_json=as_json, done="Reset.")
