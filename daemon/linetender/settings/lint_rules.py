"""Findings about single rules: do they stay loud, and do they not cry wolf?"""

from collections.abc import Iterator

from linetender.core.plan import Arrangement
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage
from linetender.settings.case import Case
from linetender.settings.positions import Path
from linetender.settings.problems import Finding
from linetender.settings.rule_file import ConditionFields, RuleEntry
from linetender.settings.rules import arrangements_of
from linetender.settings.toml_file import dotted

HIGHEST_SPO2_LIMIT_PERCENT = 94.0
"""An oximeter may be 4 % off (ISO 80601-2-61: Arms, 201.12.1.101, from memory), and one
reading in three is further off than that: at 98 % of true saturation a limit over 94
is crossed again and again by the error alone."""

LEAST_SPO2_DEADBAND_PERCENT = 2.0
"""Half of that error (chosen)."""

LATEST_KILLER_S = {"spo2_very_low": 30.0, "help": 10.0, "check_in_missed_late": 300.0}
"""Longest time until the killers that do not judge the air are told (chosen): the oxygen
alarm lags by half a minute as it is, no hand holds a button for longer, and five
minutes over a check-in are the first minutes of help."""

_BOTH = tuple(Arrangement)

DEFAULT_KILLERS: dict[str, tuple[Arrangement, ...]] = {
    "fan_mains_lost": _BOTH,
    "air_lost": _BOTH,
    "air_jump": (Arrangement.FAN_SIDE,),
    "blind": _BOTH,
    "spo2_very_low": _BOTH,
    "help": _BOTH,
    "check_in_missed_late": _BOTH,
    "power_cut_unanswered": _BOTH,
}
"""The default rules for what can kill, and the arrangements that each is for."""


def killer_weakened(case: Case) -> Iterator[Finding]:
    """A default rule for what can kill that no longer is told until it is over."""
    for rule in case.rules.rules:
        arrangements = DEFAULT_KILLERS.get(rule.id, ())
        for key, expected in _weaknesses(rule.entry, arrangements):
            remedy = f"set it so in [{dotted(rule.path)}]"
            yield case.rule_finding("killer_weakened", rule, (key,), expected, remedy)


def _weaknesses(
    entry: RuleEntry, arrangements: tuple[Arrangement, ...]
) -> Iterator[tuple[str, str]]:
    if not arrangements:
        return
    if not entry.killer:
        yield "killer", "this can kill: expected true, so that an answer buys 15 s and no more"
    if entry.priority is not Priority.HIGH:
        yield "priority", 'this can kill: expected "high"'
    if Stage.WORN not in entry.stages:
        yield "stages", 'this can kill: expected "worn" among them'
    if not set(arrangements) <= set(arrangements_of(entry)):
        named = " and ".join(arrangements)
        yield "arrangements", f"this can kill: expected {named}"


def killer_too_late(case: Case) -> Iterator[Finding]:
    """A default rule for what can kill that waits until it is as good as off."""
    for rule in case.rules.rules:
        latest_s = LATEST_KILLER_S.get(rule.id)
        entry = rule.entry
        after = entry.held or entry.check_in_missed
        waits_s = (entry.on_delay_s or 0.0) + (after.after_s if after else 0.0)
        if latest_s is not None and waits_s > latest_s:
            key = "on_delay_s" if entry.on_delay_s else entry.condition_keys[0]
            expected = f"it is told after {waits_s:g} s, {latest_s:g} s at most was expected"
            remedy = "shorten its times"
            yield case.rule_finding("killer_too_late", rule, (key,), expected, remedy)


def spo2_limit_chatters(case: Case) -> Iterator[Finding]:
    """A limit on oxygen that the oximeter's own error would cross again and again."""
    for rule in case.rules.rules:
        for path, expected, remedy in _chatters(rule.entry, ()):
            yield case.rule_finding("spo2_limit_chatters", rule, path, expected, remedy)


def _chatters(entry: ConditionFields, at: Path) -> Iterator[tuple[Path, str, str]]:
    for place, part in enumerate(entry.any_of or ()):
        yield from _chatters(part, (*at, "any_of", place))
    for place, part in enumerate(entry.all_of or ()):
        yield from _chatters(part, (*at, "all_of", place))
    if entry.signal is not Signal.SPO2_PERCENT:
        return
    low = entry.outside[0] if entry.outside else None
    heading = None if entry.heading is None else entry.heading.below
    limits = {
        "below": entry.below,
        "outside": low,
        "also_below": entry.also_below,
        "heading": heading,
    }
    for key, limit in limits.items():
        if isinstance(limit, float) and limit > HIGHEST_SPO2_LIMIT_PERCENT:
            expected = (
                f"expected {HIGHEST_SPO2_LIMIT_PERCENT:g} % or less: an oximeter may be 4 % off, "
                "so that a healthy 98 % would cross this limit again and again"
            )
            yield (*at, key), expected, "lower the limit"
    is_plain = entry.below is not None or entry.outside is not None
    if is_plain and (entry.deadband or 0.0) < LEAST_SPO2_DEADBAND_PERCENT:
        expected = (
            f"expected {LEAST_SPO2_DEADBAND_PERCENT:g} % or more, half of an oximeter's error, "
            "or the alarm would come and go"
        )
        yield (*at, "deadband"), expected, "widen the deadband"


def circular_suppression(case: Case) -> Iterator[Finding]:
    """Two rules that withhold each other could both stay silent."""
    by = {rule.id: rule.suppressed_by for rule in case.plan.rules}
    for start in by:
        reached: list[str] = list(by[start])
        for rule_id in reached:
            reached += [other for other in by.get(rule_id, ()) if other not in reached]
        if start in reached:
            path = ("rules", "change", start, "suppressed_by")
            expected = f'the rule "{start}" would in the end suppress itself'
            yield case.finding("circular_suppression", path, expected, "break the circle")
