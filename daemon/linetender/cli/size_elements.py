"""What of the sheet of `size` tells which flow element and sensor give a usable signal."""

from linetender.airline.element_choice import ElementKind, Judged
from linetender.airline.flow_element import FlagKind
from linetender.airline.pressure_sensor import MEMBRANE_1_PSI
from linetender.airline.usable_signal import PERMITTED_RELATIVE
from linetender.settings.pressure_sensors import NamedSensor
from linetender.settings.sized_station import SizedStation

_SHOWN = 2
"""Sensors that have a column, the station's own first; the others get a sentence."""

_TO_BE_KNOWN = (
    FlagKind.REYNOLDS,
    FlagKind.UNCALIBRATED,
    FlagKind.DIAMETER_RATIO,
    FlagKind.EXTRAPOLATED,
)


def elements(sized: SizedStation) -> list[str]:
    """Return the table of elements, why some do not do, and what to know of the others."""
    sizing = sized.sizing
    first, second = (named.name for named in sized.sensors[:_SHOWN])
    lines = [
        *_summary(sized),
        f"  The alarm must still be right at {sizing.required_l_min:.0f} L/min. There the sensor "
        f"alone may make the airflow uncertain by {100 * PERMITTED_RELATIVE:.0f} % (standard "
        "uncertainty of zero and span), and at the greatest airflow it must not be overrun.",
        f"  {'':<32}{'Pa at':>9}{'Pa at':>8}  {'doubt with':<16}carries",
        f"  {'pressure across':<32}{f'{sizing.required_l_min:.0f}':>9}{'likely':>8}  "
        f"{first:<8}{second:<8}the alarm",
        *(_row(each, sized.sensors) for each in sizing.elements),
    ]
    if sizing.own is not None:
        lines.append("  * the station's own")
    if sized.fitted_sensor is not None:
        lines.append(
            f"  {first} is the sensor that the station has; {second} stands beside it to compare."
        )
    for each in sizing.elements:
        if each.objections:
            lines.append(f"  No to {each.candidate.name}: {'; '.join(each.objections)}.")
    return [*lines, *_of_range(sized), *_others(sized), *_to_be_known(sized)]


def _summary(sized: SizedStation) -> list[str]:
    """Say in one breath what can carry the alarm and what cannot, with the signal of each."""
    can: dict[ElementKind, Judged] = {}
    cannot: dict[ElementKind, Judged] = {}
    for each in sized.sizing.elements:
        if each.usable_with:
            can.setdefault(each.candidate.kind, each)
    for each in sized.sizing.elements:
        if each.candidate.kind not in can:
            cannot.setdefault(each.candidate.kind, each)
    at = f"at {sized.sizing.required_l_min:.0f} L/min"
    lines = []
    if can:
        lines.append(f"  Can carry the alarm {at}: {_signals(can)}.")
    if cannot:
        overrun = any(
            each.verdicts and each.verdicts[0].greatest_pa > sized.sizing.sensors[0].range_pa
            for each in cannot.values()
        )
        why = "too little, too vague or too great" if overrun else "too little or too vague"
        lines.append(f"  Cannot, for {why} a signal: {_signals(cannot)}.")
    return lines


def _signals(kinds: dict[ElementKind, Judged]) -> str:
    return ", ".join(
        f"{_KINDS[kind]} ({_figure(each.required_pa)} Pa)" for kind, each in kinds.items()
    )


_KINDS = {
    ElementKind.ORIFICE: "an orifice plate",
    ElementKind.PITOT: "a pitot tube",
    ElementKind.DUCT: "the bare duct",
    ElementKind.HOOD_HOSE: "hose and hood",
    ElementKind.FITTED: "the element calibrated in place",
}


def _row(judged: Judged, sensors: tuple[NamedSensor, ...]) -> str:
    name = judged.candidate.name + (" *" if judged.candidate.is_own else "")
    shown = judged.verdicts[:_SHOWN]
    doubts = "".join(f"{_percent(each.sensor_relative):<8}" for each in shown)
    usable = [sensors[place].name for place in judged.usable_with if place < _SHOWN]
    answer = "yes" if len(usable) == _SHOWN else usable[0] if usable else "no"
    least, likely = _figure(judged.required_pa), _figure(judged.likely_pa)
    return f"  {name:<32}{least:>9}{likely:>8}  {doubts:<16}{answer}"


def _figure(pressure_pa: float | None) -> str:
    return "–" if pressure_pa is None else f"{pressure_pa:.3g}"


def _percent(part: float) -> str:
    return f"{100 * part:.1f} %" if part < 0.1 else f"{100 * part:.0f} %"


def _of_range(sized: SizedStation) -> list[str]:
    """Name the plates that a sensor would be overrun by."""
    overrun = [
        each.candidate.name
        for each in sized.sizing.elements
        if each.usable_with and len([p for p in each.usable_with if p < _SHOWN]) < _SHOWN
    ]
    if not overrun:
        return []
    return [
        "  Where one sensor is named, the other is overrun at the greatest airflow, reckoned with "
        "everything at its best."
    ]


def _others(sized: SizedStation) -> list[str]:
    """Say of the sensors without a column what they do for; the membrane does for little."""
    lines = []
    judged = [each for each in sized.sizing.elements if each.verdicts]
    for place, named in enumerate(sized.sensors[_SHOWN:], start=_SHOWN):
        usable = [each.candidate.name for each in judged if place in each.usable_with]
        what = f"  A sensor of {named.name}"
        if named.sensor == MEMBRANE_1_PSI:
            what = f"  A membrane sensor of {named.name} (1 Pa a count, zero within 17 Pa)"
        if usable:
            lines.append(f"{what} does for: {', '.join(usable)}.")
        else:
            best = min(each.verdicts[place].sensor_relative for each in judged)
            lines.append(f"{what} does for none of these: {100 * best:.0f} % of doubt at best.")
    return lines


def _to_be_known(sized: SizedStation) -> list[str]:
    """Tell what must be known of the element that is used, or should be."""
    chosen = sized.sizing.own or sized.sizing.best_plate
    if chosen is None or not chosen.verdicts:
        return []
    wanted = _TO_BE_KNOWN if chosen.usable_with else (FlagKind.EXTRAPOLATED,)
    texts = [f.text for f in chosen.verdicts[0].least.flags if f.kind in wanted]
    return [f"  To know of {chosen.candidate.name}: {text}." for text in texts]
