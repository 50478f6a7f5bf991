"""The verb `pre-use`."""

from linetender.cli.control_client import JsonOption, StationOption, WearerOption, order
from linetender.runtime.control_messages import Arguments, Ask


def pre_use(
    wearer: WearerOption = False,
    station: StationOption = None,
    as_json: JsonOption = False,
) -> None:
    """Begin the check before use.

    Exit status: 0 done, 1 refused (the reason is said), 2 usage, 4 no daemon answers.

    Example: linetender pre-use
    """
    order(
        Ask.PRE_USE,
        station,
        Arguments(wearer=wearer),
        as_json=as_json,
        done="The check has begun: the daemon says what it waits for.",
    )
