"""What must hold of `drift` and `heading`, beyond the range of each key."""

from collections.abc import Iterator
from math import expm1

from linetender.core.conditions.heading import POINTS
from linetender.core.instants import to_seconds
from linetender.core.signals import SIGNAL_FACTS, Signal
from linetender.settings.fault import Fault
from linetender.settings.positions import Path
from linetender.settings.rule_file import ConditionFields, DriftFor, HeadingFor
from linetender.settings.strict_model import AirPressure

WITH_WEARER_BASELINE = (Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM)
"""Signals whose baseline a session takes from the wearer."""

SHORTEST_CALM_S = 3600.0
"""Chance alone may make a drift present once in this time, not oftener (chosen)."""

FURTHEST_AHEAD = 5.0
"""A heading may look ahead by so many times the span that its slope is taken over (chosen)."""

OVERSHOOT = 1.166
"""By how much a sum of normal deviations exceeds its limit, both ends together (Siegmund 1985)."""


def run_length(k: float, h: float) -> float:
    """Return the mean number of windows until chance alone makes a one-sided drift present.

    Args:
        k: Taken off each deviation, in standard deviations (>= 0).
        h: The limit of the sum, in standard deviations (> 0).

    Source: Siegmund's approximation for independent normal deviations (D. Siegmund,
    Sequential Analysis, 1985, from memory): 938 for k = 0.5, h = 5, where 931 is exact.
    """
    reach = h + OVERSHOOT
    if k * reach < 1e-6:
        return reach * reach
    twice = 2.0 * k * reach
    return float("inf") if twice > 700.0 else (expm1(twice) - twice) / (2.0 * k * k)


def faults_of_windows(entry: ConditionFields, at: Path) -> Iterator[Fault]:
    """Return what is senseless about a drift or a heading."""
    if entry.drift is not None:
        yield from _faults_of_drift(entry.drift, entry.signal, (*at, "drift"))
    if entry.heading is not None:
        yield from _faults_of_heading(entry.heading, entry, (*at, "heading"))


def _faults_of_drift(
    drift: DriftFor, signal: Signal | AirPressure | None, at: Path
) -> Iterator[Fault]:
    if drift.reference == "baseline" and signal not in WITH_WEARER_BASELINE:
        named = " and ".join(WITH_WEARER_BASELINE)
        expected = f'"baseline" is the wearer\'s, and only {named} have one'
        yield Fault((*at, "reference"), expected, "give the value while all is well")
    if drift.sigma is None or signal is None:
        return
    sides = 2.0 if drift.side == "both" else 1.0
    calm_s = run_length(drift.k, drift.h) / sides * _window_s(signal)
    if calm_s < SHORTEST_CALM_S:
        expected = f"chance alone would make it present every {calm_s:.0f} s; an hour was expected"
        yield Fault((*at, "h"), expected, "raise h, or k")


def _faults_of_heading(heading: HeadingFor, entry: ConditionFields, at: Path) -> Iterator[Fault]:
    if (heading.below is None) == (heading.above is None):
        yield Fault(at, "heading needs below or above, one of them", "give one of the two")
    least_s = 0.0 if entry.signal is None else POINTS * _window_s(entry.signal)
    if heading.over_s < least_s:
        expected = f"expected {least_s:g} s or more: {POINTS} windows of this signal"
        yield Fault((*at, "over_s"), expected, "lengthen it")
    if heading.within_s > FURTHEST_AHEAD * heading.over_s:
        expected = f"expected not over {FURTHEST_AHEAD:g} times over_s: nobody sees so far ahead"
        yield Fault((*at, "within_s"), expected, "shorten it, or lengthen over_s")
    is_percent = entry.signal is not None and entry.signal.value.endswith("percent")
    if heading.below is not None and is_percent and heading.below + (entry.deadband or 0.0) > 100:
        expected = "it would clear over 100 %, where the signal ends"
        yield Fault((*at, "below"), expected, "lower the limit or the deadband")
    is_air = entry.signal is not None and entry.signal.value.startswith("air")
    if heading.below is not None and is_air and heading.below <= 0.0:
        expected = "expected more than 0, or it could never be present"
        yield Fault((*at, "below"), expected, "raise the limit")


def _window_s(signal: Signal | AirPressure) -> float:
    """Width of a signal's windows; that of every pressure is the same."""
    known = Signal.DUCT_PRESSURE_PA if isinstance(signal, AirPressure) else signal
    return to_seconds(SIGNAL_FACTS[known].window_ns)
