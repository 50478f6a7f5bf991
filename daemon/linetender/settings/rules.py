"""The rules of a station: a base rule file with the station's own changes in it."""

from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

from pydantic import ValidationError

from linetender.core.plan import Arrangement
from linetender.settings.explain import explain
from linetender.settings.looser import looser_keys
from linetender.settings.positions import Path as KeyPath
from linetender.settings.problems import Problem, StationFileError
from linetender.settings.rule_checks import faults_of_rule
from linetender.settings.rule_file import CONDITION_KEYS, RuleChange, RuleEntry, RuleSet
from linetender.settings.shipped import shipped
from linetender.settings.station_file import StationFile
from linetender.settings.toml_file import TomlFile, read_toml

DEFAULT_BASE = "default"


@dataclass(frozen=True)
class Rule:
    """A rule with the place it comes from.

    Attributes:
        id: Its name.
        entry: What it says, changes applied.
        toml: The file to name in messages: the station file where it is changed there.
        path: Its table in that file.
    """

    id: str
    entry: RuleEntry
    toml: TomlFile
    path: KeyPath

    def problem(self, key: KeyPath, expected: str, remedy: str) -> Problem:
        """Make a Problem about one of its keys."""
        path = (*self.path, *key)
        return self.toml.problem(path, expected, remedy, self.toml.at(path))


@dataclass(frozen=True)
class Rules:
    """All rules of a station.

    Attributes:
        rules: In the order of the base file.
        looser: One sentence per change that makes a rule watch less, with its reason.
    """

    rules: tuple[Rule, ...]
    looser: tuple[str, ...]


def rules_of(station: StationFile, toml: TomlFile) -> Rules:
    """Read the base rule set and apply the station's changes.

    Raises:
        StationFileError: the base cannot be used, a change names no rule of it, makes
            a rule that cannot work, or is looser without a reason.
    """
    base_toml, base = _read_base(station, toml)
    problems = _unknown_ids(station, base, toml)
    rules: list[Rule] = []
    looser: list[str] = []
    for rule_id, entry in base.rule.items():
        change = station.rules.change.get(rule_id)
        try:
            if change is None:
                rule = Rule(rule_id, entry, base_toml, ("rule", rule_id))
            else:
                rule = _changed(rule_id, entry, change, toml)
                looser += _looser(rule, entry, change)
        except StationFileError as error:
            problems += error.problems
            continue
        rules.append(rule)
    problems += [problem for rule in rules for problem in _faults(rule, base)]
    problems += [problem for rule in rules for problem in _unknown_calls(rule, station)]
    if problems:
        raise StationFileError(problems)
    return Rules(tuple(rules), tuple(looser))


def arrangements_of(entry: RuleEntry) -> tuple[Arrangement, ...]:
    """Return the arrangements a rule is for: both where it does not say."""
    return entry.arrangements or tuple(Arrangement)


def _read_base(station: StationFile, toml: TomlFile) -> tuple[TomlFile, RuleSet]:
    name = station.rules.base
    if name == DEFAULT_BASE:
        path = shipped("config/rules/default.toml")
    elif name.endswith(".toml"):
        path = Path(toml.file).parent / name
    else:
        expected = f'"{DEFAULT_BASE}" or the path of a .toml file was expected'
        key = ("rules", "base")
        raise StationFileError([toml.problem(key, expected, "change it", name)])
    base_toml = read_toml(path)
    try:
        return base_toml, RuleSet.model_validate(base_toml.data)
    except ValidationError as error:
        raise StationFileError(explain(error, RuleSet, base_toml)) from error


def _unknown_ids(station: StationFile, base: RuleSet, toml: TomlFile) -> list[Problem]:
    problems = []
    for rule_id in station.rules.change:
        if rule_id not in base.rule:
            near = get_close_matches(rule_id, base.rule, n=1)
            remedy = f'did you mean "{near[0]}"?' if near else f"known: {', '.join(base.rule)}"
            expected = f'the rule set "{station.rules.base}" has no rule of this name'
            problems.append(toml.problem(("rules", "change", rule_id), expected, remedy))
    return problems


def _changed(rule_id: str, entry: RuleEntry, change: RuleChange, toml: TomlFile) -> Rule:
    path: KeyPath = ("rules", "change", rule_id)
    kind = entry.condition_keys
    problems = [
        toml.problem(
            (*path, key),
            f"a change keeps the condition of its rule, which is {' '.join(kind)}",
            "change that key, or write a rule file of your own and name it in rules.base",
            toml.at((*path, key)),
        )
        for key in change.changed
        if key in CONDITION_KEYS and key not in kind
    ]
    if problems:
        raise StationFileError(problems)
    return Rule(rule_id, entry.model_copy(update=change.changed), toml, path)


def _looser(rule: Rule, entry: RuleEntry, change: RuleChange) -> list[str]:
    keys = looser_keys(entry, rule.entry, tuple(change.changed))
    if keys and change.reason is None:
        problems = [
            rule.problem(
                (key,),
                "looser than the base rule: such a change needs a reason",
                f'add reason = "…" to [rules.change.{rule.id}], or tighten it',
            )
            for key in keys
        ]
        raise StationFileError(problems)
    return [f"{rule.id}: {', '.join(keys)} looser than the base: {change.reason}"] if keys else []


def _faults(rule: Rule, base: RuleSet) -> list[Problem]:
    problems = [rule.problem(*fault) for fault in faults_of_rule(rule.entry)]
    named = list(rule.entry.suppressed_by or ())
    places: list[KeyPath] = [("suppressed_by",)] * len(named)
    if rule.entry.stale is not None and rule.entry.stale.followed is not None:
        named.append(rule.entry.stale.followed)
        places.append(("stale", "followed"))
    for other, place in zip(named, places, strict=True):
        if other not in base.rule or other == rule.id:
            expected = f'"{other}" is no other rule of this set'
            problems.append(rule.problem(place, expected, "name another rule, or remove it"))
    return problems


def _unknown_calls(rule: Rule, station: StationFile) -> list[Problem]:
    known = {contact.name for contact in station.contacts}
    return [
        rule.problem(("calls",), f'there is no [[contacts]] with name = "{name}"', "add it there")
        for name in rule.entry.calls or ()
        if name not in known
    ]
