"""The verb `acknowledge`."""

import typer

from linetender.annunciation.words import PRIORITY_WORDS
from linetender.cli.control_client import (
    JsonOption,
    StationOption,
    WearerOption,
    connect,
    report,
)
from linetender.core.alarm_table import SOUNDING
from linetender.runtime.control_messages import Arguments, Ask


def acknowledge(
    wearer: WearerOption = False,
    station: StationOption = None,
    as_json: JsonOption = False,
) -> None:
    """Answer what sounds now, after saying what it is; anything newer goes on sounding.

    What can kill is answered by the wearer alone (--wearer), and for 15 s at most.

    Exit status: 0 done, 1 refused (the reason is said), 2 usage, 4 no daemon answers.

    Example: linetender acknowledge --wearer
    """
    with connect(station) as client:
        snapshot = client.status().snapshot
        if not as_json:
            for view in snapshot.alarms:
                if view.state in SOUNDING:
                    typer.echo(f"{PRIORITY_WORDS[view.priority]}  {view.say}")
        answer = client.ask(Ask.ACKNOWLEDGE, Arguments(wearer=wearer, shown=snapshot.n))
        report(answer, as_json=as_json, done="Answered.")
