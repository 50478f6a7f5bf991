"""The verb `start`."""

from linetender.cli.control_client import JsonOption, StationOption, WearerOption, order
from linetender.runtime.control_messages import Arguments, Ask


def start(
    wearer: WearerOption = False,
    station: StationOption = None,
    as_json: JsonOption = False,
) -> None:
    """Tell the daemon that the hood is on: everything is watched from this instant.

    Exit status: 0 done, 1 refused (the reason is said), 2 usage, 4 no daemon answers.

    Example: linetender start --wearer
    """
    order(
        Ask.START,
        station,
        Arguments(wearer=wearer),
        as_json=as_json,
        done="The hood counts as worn from now on.",
    )
