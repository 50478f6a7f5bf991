"""The verb `probe`: what is there, before a station file names it."""

import math
from pathlib import Path
from typing import Annotated

import typer


def _finite(seconds: float | None) -> float | None:
    if seconds is not None and not math.isfinite(seconds):
        raise typer.BadParameter("must be a finite number of seconds")
    return seconds


Address = Annotated[
    str, typer.Option("--listen", metavar="ADDRESS", help="Show all that a radio device sends.")
]
Save = Annotated[
    Path | None,
    typer.Option("--save", metavar="FILE", help="With --listen: keep it, for lint --against."),
]
Seconds = Annotated[
    float | None,
    typer.Option("--seconds", min=0.1, callback=_finite, help="With --listen: end after so long."),
]
One = Annotated[
    str | None,
    typer.Option("--characteristic", metavar="UUID", help="With --listen: this one only."),
]
Start = Annotated[
    str | None,
    typer.Option(
        "--start", metavar="UUID=OCTETS", help="With --listen: write this after subscribing."
    ),
]


def probe(
    listen_to: Address,
    save: Save = None,
    seconds: Seconds = None,
    characteristic: One = None,
    start: Start = None,
) -> None:
    """Listen to an oximeter: its services, what it sends, and which bytes change.

    For one that sends its maker's own packets, so that you can describe them.

    Exit status: 0 ended, 2 usage, 3 the file cannot be written, 4 the device is not heard.

    Example: linetender probe --listen C0:FF:EE:00:18:22 --save heard.jsonl
    """
    from linetender.cli.listen import listen  # loads the Bluetooth library, so only here

    listen(
        listen_to,
        typer.echo,
        save=save,
        seconds=seconds,
        characteristic=characteristic,
        start=start,
    )
