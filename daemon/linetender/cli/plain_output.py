"""Plain output, as a screen reader wants it: lines of words, one for each change.

No boxes, no bars, nothing drawn over, no colour. `linetender --plain VERB` and
`linetender VERB --plain` mean the same, for help as well; who always wants it sets
`LINETENDER_PLAIN=1` in the environment.
"""

import inspect
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import wraps
from typing import Annotated, Any

import typer

PLAIN_VARIABLE = "LINETENDER_PLAIN"
"""Set to anything but 0 in the environment, all output is plain."""

PLAIN_COLUMNS = 200
"""Width of plain help: no sentence is cut short to fit a column (chosen)."""

_OPTION = "--plain"

Plain = Annotated[
    bool, typer.Option(_OPTION, help="Lines of words, as for a screen reader: nothing is drawn.")
]

_asked_for: ContextVar[bool] = ContextVar("plain output", default=False)


def is_plain() -> bool:
    """Whether what is told now shall be plain."""
    return _asked_for.get() or os.environ.get(PLAIN_VARIABLE, "0") not in ("", "0")


def is_plain_help() -> bool:
    """Whether help and complaints about the command line shall be plain.

    They are printed before any option has been looked at.
    """
    return is_plain() or _OPTION in sys.argv[1:]


@contextmanager
def plainly(wanted: bool) -> Iterator[None]:
    """Tell all plainly, if that is wanted, until the context ends."""
    token = _asked_for.set(wanted or _asked_for.get())
    try:
        yield
    finally:
        _asked_for.reset(token)


def taking_plain(verb: Callable[..., Any]) -> Callable[..., Any]:
    """Return a verb that takes `--plain` besides its own options."""

    @wraps(verb)
    def told(*, plain: bool = False, **arguments: Any) -> Any:
        with plainly(plain):
            return verb(**arguments)

    own = inspect.signature(verb)
    option = inspect.Parameter(
        "plain", inspect.Parameter.KEYWORD_ONLY, default=False, annotation=Plain
    )
    parameters = [*own.parameters.values(), option]
    told.__annotations__ = {**verb.__annotations__, "plain": Plain}
    vars(told)["__signature__"] = own.replace(parameters=parameters)
    return told


def take_plain(context: typer.Context, plain: Plain = False) -> None:
    # Without a docstring: it would become the help of every group that this is given to.
    context.with_resource(plainly(plain))
