"""The verb `end`."""

from linetender.cli.control_client import JsonOption, StationOption, WearerOption, order
from linetender.runtime.control_messages import Arguments, Ask


def end(
    wearer: WearerOption = False,
    station: StationOption = None,
    as_json: JsonOption = False,
) -> None:
    """End the use; while the hood is worn only the wearer may (--wearer).

    Exit status: 0 done, 1 refused (the reason is said), 2 usage, 4 no daemon answers.

    Example: linetender end --wearer
    """
    order(Ask.END, station, Arguments(wearer=wearer), as_json=as_json, done="The use has ended.")
