"""The one way inputs reach the core, live and in replay alike."""

from collections.abc import Callable, Iterable

from linetender.core.events import Event
from linetender.core.inputs import Input
from linetender.core.watch import Watch

Emit = Callable[[tuple[Event, ...]], None]


def drive(block: Iterable[Input], until_ns: int, watch: Watch, emit: Emit) -> None:
    """Feed a block of inputs, then advance.

    Args:
        block: Inputs in the order of their arrival.
        until_ns: Advance to here afterwards (ns of Watch time).
        watch: The core.
        emit: Called with each non-empty tuple of events, in order.

    Raises:
        TimeWentBack: an input or `until_ns` lies before the Watch's time.
    """
    take = watch.take
    for item in watch.put_aside(block):
        if events := take(item):
            emit(events)
    if events := watch.advance(until_ns):
        emit(events)
