"""Is a station safe to run as written? One small function per finding.

A finding refuses the station, but for a few that are only advice. `exceptions_policy.py`
lists those, and which can be accepted by an `[[exceptions]]` table with a reason, which
every report then shows.
"""

from collections.abc import Callable, Iterator

from linetender.settings import lint_air, lint_devices, lint_rules
from linetender.settings.case import Case
from linetender.settings.problems import Finding


def lint(case: Case) -> list[Finding]:
    """Return everything that is unsafe, granted exceptions included."""
    findings = [finding for check in CHECKS for finding in check(case)]
    return [*findings, *unused_exception(case, findings)]


def unused_exception(case: Case, findings: list[Finding]) -> Iterator[Finding]:
    """An exception for what is in order: it would hide the finding on the day it comes."""
    found = {finding.name for finding in findings}
    for place, granted in enumerate(case.station.exceptions):
        if granted.finding not in found:
            path = ("exceptions", place, "finding")
            expected = "there is nothing to accept: this station has no such finding"
            remedy = "remove the exception"
            yield case.finding("unused_exception", path, expected, remedy, granted.finding)


CHECKS: tuple[Callable[[Case], Iterator[Finding]], ...] = (
    lint_air.no_normal,
    lint_air.no_element_pressure,
    lint_air.no_loss_of_air_rule,
    lint_air.no_blind_rule,
    lint_air.blind_too_late,
    lint_air.alarm_past_budget,
    lint_air.no_exit_time,
    lint_air.exit_time_over_budget,
    lint_air.loss_of_air_by_forward,
    lint_rules.killer_weakened,
    lint_rules.killer_too_late,
    lint_rules.spo2_limit_chatters,
    lint_rules.circular_suppression,
    lint_devices.two_sources,
    lint_devices.role_twice,
    lint_devices.line_twice,
    lint_devices.no_sounder,
    lint_devices.no_answer_button,
)
"""All checks, each named as its finding, in the order in which findings are told."""
