"""The verb `pause-sound`."""

from typing import Annotated

import typer

from linetender.cli.control_client import JsonOption, StationOption, order
from linetender.runtime.control_messages import Arguments, Ask


def pause_sound(
    seconds: Annotated[
        float, typer.Option("--for", metavar="SECONDS", min=1, max=120, help="For how long.")
    ] = 60.0,
    station: StationOption = None,
    as_json: JsonOption = False,
) -> None:
    """Silence the LOOK alarms that sound now, for a while; LEAVE cannot be paused.

    Exit status: 0 done, 1 refused (the reason is said), 2 usage, 4 no daemon answers.

    Example: linetender pause-sound --for 90
    """
    order(
        Ask.PAUSE_SOUND,
        station,
        Arguments(duration_s=seconds),
        as_json=as_json,
        done="Paused: what sounds now is quiet for a while; anything new sounds.",
    )
