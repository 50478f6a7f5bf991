"""The verb `out`."""

from linetender.cli.control_client import JsonOption, StationOption, WearerOption, order
from linetender.runtime.control_messages import Arguments, Ask


def out(
    wearer: WearerOption = False,
    station: StationOption = None,
    as_json: JsonOption = False,
) -> None:
    """Tell the daemon that the wearer is out of the bad air, with the hood off.

    While the hood is worn only the wearer may (--wearer).

    Exit status: 0 done, 1 refused (the reason is said), 2 usage, 4 no daemon answers.

    Example: linetender out --wearer
    """
    order(
        Ask.OUT,
        station,
        Arguments(wearer=wearer),
        as_json=as_json,
        done="The wearer is out: what was sounding for them has ended.",
    )
