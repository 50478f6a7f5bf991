"""Which flow elements a line could have, and which of them can carry its alarm."""

import enum
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from linetender.airline.air_line import AirLine, Run
from linetender.airline.air_state import AirState
from linetender.airline.flow_element import FlowElement
from linetender.airline.hood_hose import HoodHose
from linetender.airline.network import NoOperatingPoint
from linetender.airline.orifice import LARGEST_PRESSURE_PART, Orifice
from linetender.airline.pitot import Pitot
from linetender.airline.pressure_sensor import PressureSensor
from linetender.airline.straight_duct import StraightDuct
from linetender.airline.usable_signal import SignalVerdict, signal_verdict

DIAMETER_RATIOS = (0.4, 0.5, 0.6)
"""Plates that are looked at in the width of the longest run."""

NARROW_PIPES_MM = (75.0, 50.0)
NARROW_RATIO = 0.5
"""Narrower pipes for a plate, and its diameter ratio there; ISO 5167-2 begins at 50 mm."""


PLATE_MARGIN = 0.8
"""Part of the pressure at which a plate's formula ends that is used: doubts need room (chosen)."""


class ElementKind(enum.Enum):
    """What a pressure can be measured across."""

    ORIFICE = "orifice"
    PITOT = "pitot"
    DUCT = "duct"
    HOOD_HOSE = "hood_hose"
    FITTED = "fitted"


@dataclass(frozen=True, slots=True)
class Candidate:
    """A flow element at its place in the line.

    Attributes:
        kind: What it is.
        name: The same with its sizes, for people.
        element: The element.
        is_own: Whether it is the one that the station has.
        holds_span: Whether it was calibrated with the first of the sensors that it is
            judged with: its k then holds the error of that sensor's span.
    """

    kind: ElementKind
    name: str
    element: FlowElement
    is_own: bool = False
    holds_span: bool = False


@dataclass(frozen=True, slots=True)
class Judged:
    """A candidate with what speaks for and against it.

    Attributes:
        candidate: The element.
        airflow_l_min: Likely airflow of the line with it (L/min); 0 for none.
        least_l_min: The same with all at its worst and the filter due (L/min).
        required_pa: Pressure across it at the required airflow (Pa); None where a plate
            cannot pass the airflows of this line at all.
        likely_pa: The same at the likely airflow.
        verdicts: One per sensor, in their order; none where there is no pressure.
        too_little: Why the line cannot have it: it takes the air that is needed, and that
            the line has without it. Else empty.
    """

    candidate: Candidate
    airflow_l_min: float
    least_l_min: float
    required_pa: float | None
    likely_pa: float | None
    verdicts: tuple[SignalVerdict, ...]
    too_little: str

    @property
    def usable_with(self) -> tuple[int, ...]:
        """Which of the sensors (from 0) can carry the alarm with it."""
        if self.too_little:
            return ()
        return tuple(i for i, verdict in enumerate(self.verdicts) if verdict.is_usable)

    @property
    def objections(self) -> tuple[str, ...]:
        """Why no sensor can carry the alarm with it; empty where one can."""
        if self.usable_with:
            return ()
        if self.too_little:
            return (self.too_little,)
        return self.verdicts[0].objections


def candidates(line: AirLine, own: Candidate | None) -> tuple[Candidate, ...]:
    """Return what a pressure could be measured across on a line, the station's own first."""
    found = [own] if own is not None else []
    for each in _possible(line):
        if own is not None and each.kind is own.kind and each.element == own.element:
            continue
        found.append(each)
    return tuple(found)


def judge(
    line: AirLine, candidate: Candidate, sensors: tuple[PressureSensor, ...], required_l_min: float
) -> Judged:
    """Judge a candidate from the required airflow to the greatest that the line may have.

    Args:
        line: The line; a plate that is looked at takes the place of its own.
        candidate: The element.
        sensors: The pressure sensors, the preferred one first; at least one.
        required_l_min: Least permitted airflow (L/min, > 0).
    """
    element = candidate.element
    fitted = line.with_plate(element) if isinstance(element, Orifice) else line
    if candidate.kind is not ElementKind.ORIFICE and not candidate.is_own:
        fitted = line.with_plate(None)
    likely_l_min = _likely_l_min(fitted)
    least_l_min = fitted.least_l_min()
    greatest_l_min = max(required_l_min, fitted.greatest_l_min())
    most_l_min = _most_l_min(element, line.air)
    if greatest_l_min > most_l_min:
        text = f"its hole is too small: {most_l_min:.0f} L/min are the most that it can be had for"
        return Judged(candidate, likely_l_min, least_l_min, None, None, (), text)
    verdicts = tuple(
        signal_verdict(
            element, sensor, line.air, least_l_min=required_l_min, greatest_l_min=greatest_l_min
        )
        for sensor in _as_used(candidate, sensors)
    )
    too_little = ""
    if likely_l_min < required_l_min <= _likely_l_min(line.with_plate(None)):
        too_little = f"with it the line brings {likely_l_min:.0f} L/min, too little"
    return Judged(
        candidate=candidate,
        airflow_l_min=likely_l_min,
        least_l_min=least_l_min,
        required_pa=element.differential_pa(required_l_min, line.air),
        likely_pa=element.differential_pa(likely_l_min, line.air),
        verdicts=verdicts,
        too_little=too_little,
    )


def _as_used(
    candidate: Candidate, sensors: tuple[PressureSensor, ...]
) -> tuple[PressureSensor, ...]:
    if not candidate.holds_span:
        return sensors
    return (replace(sensors[0], span_relative=0.0), *sensors[1:])


def _likely_l_min(line: AirLine) -> float:
    try:
        return line.operating_point().airflow_l_min
    except NoOperatingPoint as none:
        return none.nearest_l_min


def _most_l_min(element: FlowElement, air: AirState) -> float:
    """Airflow up to which an element can be computed (L/min): a plate has such an end."""
    if not isinstance(element, Orifice):
        return math.inf
    return element.airflow_l_min(PLATE_MARGIN * LARGEST_PRESSURE_PART * air.pressure_pa, air)


def plate(pipe_mm: float, bore_mm: float, *, is_own: bool = False) -> Candidate:
    """Return an orifice plate as a candidate."""
    name = f"orifice, {bore_mm:g} mm hole in {pipe_mm:g} mm"
    return Candidate(ElementKind.ORIFICE, name, Orifice(pipe_mm, bore_mm), is_own)


def pitot(pipe_mm: float, *, is_own: bool = False) -> Candidate:
    """Return an averaging pitot tube, the best of its kind, as a candidate."""
    return Candidate(ElementKind.PITOT, f"pitot tube in {pipe_mm:g} mm", Pitot(pipe_mm), is_own)


def bare_duct(run: Run, *, is_own: bool = False) -> Candidate:
    """Return a straight run with a tap at each end as a candidate."""
    name = f"bare duct, {run.length_m:g} m of {run.diameter_mm:g} mm"
    straight = StraightDuct(run.length_m, run.diameter_mm, run.duct().roughness_mm)
    return Candidate(ElementKind.DUCT, name, straight, is_own)


def hood_hose(line: AirLine, *, is_own: bool = False) -> Candidate | None:
    """Return hose and hood as a candidate, or None where the last run is the wider one."""
    hose = line.runs[-1]
    tap_mm = line.runs[-2].diameter_mm if len(line.runs) > 1 else hose.diameter_mm
    if tap_mm < hose.diameter_mm:
        return None
    name = f"hose and hood, {hose.length_m:g} m of {hose.diameter_mm:g} mm"
    element = HoodHose(tap_mm, hose.duct(), line.outlet)
    return Candidate(ElementKind.HOOD_HOSE, name, element, is_own)


def _possible(line: AirLine) -> Iterator[Candidate]:
    trunk = line.trunk
    width_mm = trunk.diameter_mm
    for ratio in DIAMETER_RATIOS:
        yield plate(width_mm, float(round(ratio * width_mm)))
    for pipe_mm in NARROW_PIPES_MM:
        if pipe_mm < width_mm:
            yield plate(pipe_mm, NARROW_RATIO * pipe_mm)
    yield pitot(width_mm)
    yield bare_duct(trunk)
    last = hood_hose(line)
    if last is not None:
        yield last
