"""A station under judgement, and how a finding about it is made."""

from dataclasses import dataclass

from linetender.core.plan import Plan
from linetender.settings.exceptions_policy import ADVICE, GRANTABLE
from linetender.settings.positions import Path
from linetender.settings.problems import Finding, Problem
from linetender.settings.rule_budget import RuleBudget
from linetender.settings.rules import Rule, Rules
from linetender.settings.station import Device
from linetender.settings.station_file import StationFile
from linetender.settings.toml_file import TomlFile


@dataclass(frozen=True)
class Case:
    """What is judged.

    Attributes:
        station: The station file.
        rules: Its rules, also those whose parts are not fitted.
        plan: What it compiles to.
        devices: Its devices.
        budgets: Alarm budgets of the rules about the air.
        toml: The file, for lines.
    """

    station: StationFile
    rules: Rules
    plan: Plan
    devices: tuple[Device, ...]
    budgets: tuple[RuleBudget, ...]
    toml: TomlFile

    def finding(
        self, name: str, path: Path, expected: str, remedy: str, value: object = None
    ) -> Finding:
        """Make a Finding about a key of the station file."""
        return _finding(name, self.toml.problem(path, expected, remedy, value))

    def rule_finding(self, name: str, rule: Rule, key: Path, expected: str, remedy: str) -> Finding:
        """Make a Finding about a key of a rule, in the file where that key stands."""
        return _finding(name, rule.problem(key, expected, remedy))

    def rule(self, rule_id: str) -> Rule | None:
        """Return a rule as written, or None for one of several made of one entry."""
        return next((rule for rule in self.rules.rules if rule.id == rule_id), None)

    def stands(self, path: Path) -> bool:
        """Whether the station file has this key."""
        return self.toml.at(path) is not None


def _finding(name: str, made: Problem) -> Finding:
    return Finding(
        made.file,
        made.line,
        made.key,
        made.value,
        made.expected,
        made.remedy,
        name=name,
        grantable=name in GRANTABLE,
        refuses=name not in ADVICE,
    )
