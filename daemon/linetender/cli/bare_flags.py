"""Help that shows a switch as it is typed: `--json` takes no value, and is given no type."""

from typing import Any

from typer.core import TyperCommand, TyperGroup


class Verb(TyperCommand):
    """A verb whose help shows switches bare."""

    def get_params(self, ctx: Any) -> Any:
        """Return its parameters, as the library does."""
        return _bare(super().get_params(ctx))


class VerbGroup(TyperGroup):
    """Likewise of a command that has verbs."""

    def get_params(self, ctx: Any) -> Any:
        """Return its parameters, as the library does."""
        return _bare(super().get_params(ctx))


def _bare(parameters: Any) -> Any:
    for each in parameters:
        if getattr(each, "is_flag", False) and each.metavar is None:
            each.metavar = ""
    return parameters
