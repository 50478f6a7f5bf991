"""What is wrong with a rule, before it is known in which file it stands."""

from typing import NamedTuple

from linetender.settings.positions import Path


class Fault(NamedTuple):
    """What is wrong with a rule: where under its table, what was expected, what to do."""

    path: Path
    expected: str
    remedy: str
