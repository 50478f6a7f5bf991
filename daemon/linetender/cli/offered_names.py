"""The names that a shell offers at the Tab key, where a word is one of a known few."""

from linetender.cli.scenario_play import scenario_names
from linetender.simulation.named_faults import FAULTS


def offered_scenarios(incomplete: str) -> list[str]:
    """Return the scenarios whose names begin so."""
    return [name for name in scenario_names() if name.startswith(incomplete)]


def offered_faults(incomplete: str) -> list[str]:
    """Return the faults of a served world whose names begin so."""
    return [name for name in FAULTS if name.startswith(incomplete)]
