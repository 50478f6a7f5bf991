"""Would the safety lint take a station whose rule had other limits? Tried, not reckoned."""

from copy import deepcopy
from dataclasses import replace
from pathlib import Path

from linetender.settings.load import station_of
from linetender.settings.problems import StationFileError
from linetender.settings.remembered import Recall, nothing_recalled
from linetender.settings.toml_file import TomlFile

TRIAL_REASON = "tried on recordings"


def is_refused(
    toml: TomlFile,
    path: Path,
    rule: str,
    values: dict[str, float],
    recall: Recall = nothing_recalled,
) -> bool:
    """Say whether a station file is refused once a rule has other values.

    Args:
        toml: The station file as it was read; it is left as it is.
        path: Where it stands.
        rule: Id of the rule.
        values: By key of `[rules.change.ID]`.
        recall: As for `load_station`.
    """
    data = deepcopy(toml.data)
    change = data.setdefault("rules", {}).setdefault("change", {}).setdefault(rule, {})
    change |= values
    # A looser limit needs some reason: which one is for the person to say, not for the lint.
    change.setdefault("reason", TRIAL_REASON)
    try:
        station_of(replace(toml, data=data), path, recall=recall)
    except StationFileError:
        return True
    return False
