"""Findings about the air: is its loss noticed, and in time?"""

import math
from collections.abc import Iterator

from linetender.core.instants import to_seconds
from linetender.core.plan import AllOf, AnyOf, Condition, RulePlan, Stale
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage
from linetender.settings.air_budget import judges_air, least_airflow_l_min
from linetender.settings.case import Case
from linetender.settings.compile_air import air_signal, normal_pa
from linetender.settings.forwarded_spec import FORWARDED
from linetender.settings.leave_sentence import leaves_time
from linetender.settings.positions import Path
from linetender.settings.problems import Finding
from linetender.settings.rule_budget import RuleBudget, slowest
from linetender.settings.station_file import FittedElement

LINE_PRESSURES = (Signal.DUCT_PRESSURE_PA, Signal.HOOD_PRESSURE_PA)

GUARDING_SIGNALS = frozenset({*LINE_PRESSURES, Signal.SPO2_PERCENT})
"""Any other sensor may still speak while nobody sees air or oxygen."""

LATEST_BLIND_S = 15.0
"""A station that notices later that it sees nothing was not watching (chosen: the
default's 10 s and half of it)."""


def no_normal(case: Case) -> Iterator[Finding]:
    """Air is judged against a normal: without one the air rules cannot exist."""
    if not any(signal in LINE_PRESSURES for device in case.devices for signal in device.signals):
        return
    element = case.station.element
    if element is None:
        expected = "[element] is missing: nothing says what the pressure is measured across"
        remedy = 'add [element] with kind and normal_pa, e.g. kind = "hood_hose", normal_pa = 60'
        yield case.finding("no_normal", ("element",), expected, remedy)
    elif normal_pa(case.station) is None:
        remedy = (
            "teach it: linetender calibrate FILE --teach; or run the line as you use it, read the "
            "pressure and write it there in Pa"
        )
        if isinstance(element, FittedElement):
            remedy = "add station.required_airflow_l_min, or the pressure in normal use"
        expected = "normal_pa is missing: air is judged against the line's own normal"
        yield case.finding("no_normal", ("element", "normal_pa"), expected, remedy)


def no_element_pressure(case: Case) -> Iterator[Finding]:
    """An element whose pressure no device gives."""
    element = case.station.element
    if element is not None and air_signal(case.station, case.devices) is None:
        wanted = "duct_pressure_pa"
        if element.kind in ("hood_hose", "fitted"):
            wanted += " or hood_pressure_pa"
        expected = f"no device gives the pressure across it ({wanted})"
        remedy = f"add a device with signals = [{wanted.split()[0]!r}], or remove [element]"
        yield case.finding("no_element_pressure", ("element", "kind"), expected, remedy)


def no_loss_of_air_rule(case: Case) -> Iterator[Finding]:
    """No rule that notices the air being lost while the hood is worn: air is NOT watched."""
    if any(no_normal(case)) or any(no_element_pressure(case)):
        return  # said already, with what to do about it
    if any(_guards(rule) and judges_air(rule.condition, case.plan) for rule in case.plan.rules):
        return
    if case.plan.air is None:
        expected = "nothing senses the loss of air: air is NOT watched"
        remedy = "fit a pressure sensor, and describe with [element] what it measures across"
        yield case.finding("no_loss_of_air_rule", ("rules",), expected, remedy)
        return
    expected = (
        "no rule tells the loss of air: air is NOT watched. Such a rule judges the air, "
        f"{_AS_A_GUARD}"
    )
    remedy = "keep the rule air_lost of the default set as it is, or one like it"
    yield case.finding("air_loss_untold", ("rules",), expected, remedy)


def no_blind_rule(case: Case) -> Iterator[Finding]:
    """No rule that notices when nothing is watched any more."""
    if any(_guards(rule) and _silence_s(rule.condition) for rule in case.plan.rules):
        return
    expected = (
        "no rule notices that air and oxygen are no longer seen. Such a rule has stale with the "
        f"line's pressure, or oxygen too, and nothing else, {_AS_A_GUARD}"
    )
    remedy = "keep the rule blind of the default set, or one like it"
    yield case.finding("no_blind_rule", ("rules",), expected, remedy)


def blind_too_late(case: Case) -> Iterator[Finding]:
    """The watcher notices too late that it sees nothing."""
    times = {
        rule.id: silence_s + to_seconds(rule.on_delay_ns)
        for rule in case.plan.rules
        if _guards(rule) and (silence_s := _silence_s(rule.condition)) is not None
    }
    if times and min(times.values()) > LATEST_BLIND_S:
        rule_id = min(times, key=lambda each: times[each])
        rule = case.rule(rule_id)
        expected = (
            f"silence is told after {times[rule_id]:g} s, {LATEST_BLIND_S:g} s at most was expected"
        )
        if rule is not None:
            remedy = f"shorten after_s or on_delay_s of {rule_id}"
            yield case.rule_finding("blind_too_late", rule, ("stale",), expected, remedy)


def alarm_past_budget(case: Case) -> Iterator[Finding]:
    """A rule about the air that tells to leave when the air in the hood is bad already."""
    for budget in case.budgets:
        rule = case.rule(budget.rule)
        if budget.seconds.is_met or rule is None:
            continue
        expected = (
            f"{budget.rule} would come too late: {budget.words}, and you need "
            f"{budget.seconds.reaction_s:.1f} s to react: {budget.seconds.needed_s:.1f} s. "
            f"The hood gives {hood_words(case, budget)}"
        )
        remedy = _in_time(case, budget)
        path = _cause(case, budget.rule)
        if path is None:
            yield case.rule_finding("alarm_past_budget", rule, ("on_delay_s",), expected, remedy)
        else:
            value = case.toml.at(path)
            yield case.finding("alarm_past_budget", path, expected, remedy, value)


def no_exit_time(case: Case) -> Iterator[Finding]:
    """Without it nobody can say whether the wearer gets out."""
    if case.station.station.exit_time_s is None:
        expected = "missing: nothing says how long the way out takes"
        remedy = "walk out in full gear with a stopwatch, and write the seconds there"
        yield case.finding("no_exit_time", ("station", "exit_time_s"), expected, remedy)


def exit_time_over_budget(case: Case) -> Iterator[Finding]:
    """The alarm comes in time, but the way out does not fit: LEAVE then says so."""
    exit_time_s, last = case.station.station.exit_time_s, slowest(case.budgets)
    if exit_time_s is None or last is None or leaves_time(exit_time_s, case.budgets):
        return
    if not all(budget.seconds.is_met for budget in case.budgets):
        return  # said already, and worse
    spare_s = last.seconds.available_s - last.seconds.needed_s
    expected = (
        f"the way out does not fit: {last.rule} takes {last.seconds.needed_s:.1f} s with your "
        f"reaction, and the hood gives {hood_words(case, last)}. LEAVE therefore says to open "
        "the hood while going"
    )
    remedy = f"shorten the way to {math.floor(spare_s)} s, or practise opening the hood"
    path = ("station", "exit_time_s")
    yield case.finding("exit_time_over_budget", path, expected, remedy, case.toml.at(path))


def loss_of_air_by_forward(case: Case) -> Iterator[Finding]:
    """The air is only known through a second box and the network between."""
    air = case.plan.air
    for device in case.devices:
        if air is not None and device.driver == FORWARDED and air.signal in device.signals:
            path = ("devices", device.name, "driver")
            expected = "the loss of air would be seen through a second box and the network only"
            remedy = "wire a sensor to this box"
            yield case.finding("loss_of_air_by_forward", path, expected, remedy, device.driver)


def hood_words(case: Case, budget: RuleBudget) -> str:
    """Say how long the air in the hood lasts, and from what that was reckoned."""
    hood = case.station.hood
    return (
        f"{budget.seconds.available_s:.1f} s until 3 % CO2 ({hood.volume_l:g} L, "
        f"{hood.co2_l_min:g} L/min, from {least_airflow_l_min(case.station):g} L/min)"
    )


_AS_A_GUARD = 'with loss_of_air, killer, priority = "high" and "worn" among its stages'


def _guards(rule: RulePlan) -> bool:
    is_loud = rule.killer and rule.priority is Priority.HIGH
    return rule.loss_of_air and is_loud and Stage.WORN in rule.stages


def _silence_s(condition: Condition) -> float | None:
    """After what silence (s) of air and oxygen a condition is present, or None."""
    if isinstance(condition, AnyOf):
        times = [_silence_s(part) for part in condition.conditions]
        return min((each for each in times if each is not None), default=None)
    if isinstance(condition, AllOf):
        times = [_silence_s(part) for part in condition.conditions]
        whole = [each for each in times if each is not None]
        return max(whole) if len(whole) == len(times) else None
    if isinstance(condition, Stale) and set(condition.signals) <= GUARDING_SIGNALS:
        return to_seconds(condition.after_ns)
    return None


def _in_time(case: Case, budget: RuleBudget) -> str:
    longest_s = math.floor(budget.longest_on_delay_s * 10.0) / 10.0
    if longest_s >= 0.0:
        return f"set on_delay_s of {budget.rule} to {longest_s:g} or less"
    if budget.seconds.available_s <= 0.0:
        return "no rule can mend it: the hood needs more air, or its wearer gives off less CO2"
    volume_l = case.station.hood.volume_l * budget.seconds.needed_s / budget.seconds.available_s
    return (
        f"no on_delay_s is short enough: choose a limit nearer to the normal flow, or a hood "
        f"of {math.ceil(volume_l)} L"
    )


def _cause(case: Case, rule_id: str) -> Path | None:
    """The first key of the station file that may have made a rule late."""
    change: Path = ("rules", "change", rule_id)
    keys = ("on_delay_s", "below", "outside", "falls", "any_of", "all_of")
    for path in (
        *((*change, key) for key in keys),
        ("fan", "coast_down_s"),
        ("hood", "volume_l"),
        ("hood", "co2_l_min"),
        ("station", "required_airflow_l_min"),
    ):
        if case.stands(path):
            return path
    return None
