"""What of the sheet of `size` is advice: where to measure, what the wearer gets, the alarm."""

from linetender.airline.alarm_budget import coast_down_s
from linetender.airline.breathing_air import GREATEST_L_MIN, GREATEST_NOISE_DBA
from linetender.airline.element_choice import ElementKind, Judged
from linetender.airline.orifice import Orifice
from linetender.airline.sizing import Sizing, Worn
from linetender.core.plan import Arrangement
from linetender.settings.compile_air import calibration
from linetender.settings.sized_station import LEAVE_DELAY_S, LEAVE_FRACTION, SizedStation

STRAIGHT_BEFORE = 10
STRAIGHT_BEHIND = 5
"""Straight pipe before and behind a plate, in pipe widths (common practice)."""

NOISY_M_S = 10.0
"""Air in a hose that is faster hisses at the ear (chosen)."""


def where_to_measure(sized: SizedStation) -> list[str]:
    """Say which arrangement suits, and where the taps go."""
    sizing = sized.sizing
    lines = []
    at_hood = _of_kind(sizing, ElementKind.HOOD_HOSE)
    if at_hood is not None and at_hood.usable_with:
        lines.append(
            f"  At the wearer's end: {at_hood.candidate.name} gives "
            f"{at_hood.required_pa:.3g} Pa at the least airflow against the "
            "room. Box and sensor stand there, one wall tap in the wide duct just before the "
            "hose, the other port open to the room, out of the spray. Nearly every fault then "
            "reads low, the safe direction: preferred where it can be had."
        )
    if sized.file.station.arrangement is Arrangement.FAN_SIDE:
        lines.append(
            "  Beside the fan, as the file has it: wiring is simple, but a duct that comes off "
            "further down shows as a rise only, and the siren is far from the ear: wire one to "
            "where you work, or set up a second box."
        )
        lines += _plate_taps(sized)
    elif at_hood is None or not at_hood.usable_with:
        lines += _plate_taps(sized)
    lines.append(
        "  Keep tap tubes short, well under a metre each: through long ones a flow-through sensor "
        "reads low."
    )
    return lines


def hood_and_wearer(sized: SizedStation) -> list[str]:
    """Say what the wearer breathes, hears and feels."""
    sizing = sized.sizing
    needed, likely = sizing.worn
    coldest_c = sized.file.intake.coldest_c
    lines = [
        f"  {'':<40}{'at least':>12}{'likely':>12}",
        _wearer_row("airflow, L/min", [f"{each.airflow_l_min:.0f}" for each in sizing.worn]),
        _wearer_row("carbon dioxide in the hood, ppm", [_ppm(each) for each in sizing.worn]),
        _wearer_row("breathing it covers, L/min", [f"{w.breath_l_min:.0f}" for w in sizing.worn]),
        _wearer_row("air in the hose, m/s", [f"{each.hose_m_s:.1f}" for each in sizing.worn]),
        _wearer_row("from fan to hood, s", [f"{each.transit_s:.1f}" for each in sizing.worn]),
        _wearer_row(
            f"to warm {coldest_c:g} °C to 20 °C, W", [f"{w.heat_w:.0f}" for w in sizing.worn]
        ),
        f"  CO2: for {sized.file.hood.co2_l_min:g} L/min given off, well mixed; near the mouth it "
        "is more. Above the breathing it covers, a hood draws in air of the room.",
        _noise(likely),
    ]
    if likely.airflow_l_min > GREATEST_L_MIN:
        lines.append(
            f"  Draught: {likely.airflow_l_min:.0f} L/min are above the {GREATEST_L_MIN:.0f} L/min "
            "that the published range ends with. Run the fan slower if eyes and neck get dry."
        )
    if coldest_c < 10.0:
        lines.append(
            f"  Cold: to warm even the least airflow from {coldest_c:g} °C takes "
            f"{needed.heat_w:.0f} W, which head and neck do not have: dress for it, and expect "
            "glasses to fog. Never warm intake air by a flame or burner."
        )
    return lines


def alarm(sized: SizedStation) -> list[str]:
    """Suggest limits and delays, and say whether the alarm comes in time."""
    sizing, budget = sized.sizing, sized.budget
    likely_l_min = sizing.likely.airflow_l_min
    fraction = max(LEAVE_FRACTION, 0.05 * -(-20.0 * sizing.required_l_min // likely_l_min))
    lines = [
        f"  station.required_airflow_l_min = {sizing.required_l_min:.0f}, {_watched(sized)}.",
        *_normal(sized),
    ]
    if fraction < 0.95:
        lines.append(
            f"  air_lost: below {100 * fraction:.0f} % of normal, here "
            f"{fraction * likely_l_min:.0f} L/min, for {LEAVE_DELAY_S:g} s; this line allows "
            f"{_longest_delay_s(sized, fraction):.1f} s at most."
        )
    else:
        lines.append("  air_lost: no limit fits between the normal airflow and the needed one.")
    seconds, exit_time_s = budget.seconds, sized.file.station.exit_time_s
    lines.append(
        f"  Budget of {budget.rule}: {budget.words}, and you need {seconds.reaction_s:.1f} s to "
        f"react: {seconds.needed_s:.1f} s. The hood gives {seconds.available_s:.1f} s until 3 % "
        "carbon dioxide, with no air at all coming in."
    )
    if exit_time_s is not None and seconds.is_met:
        fits = seconds.leaves_time_for(exit_time_s)
        lines.append(
            f"  The way out of {exit_time_s:g} s "
            + ("fits as well." if fits else "does not fit: open the hood while going.")
        )
    return lines


def _longest_delay_s(sized: SizedStation, fraction: float) -> float:
    """The longest on-delay (s) of a rule at a part of the flow; 0 where none fits."""
    seconds = sized.budget.seconds
    coast_s = coast_down_s(fraction, sized.file.fan.coast_down_s)
    return max(0.0, seconds.available_s - coast_s - seconds.sensing_s - seconds.reaction_s)


def _normal(sized: SizedStation) -> list[str]:
    normal = sized.normal
    if normal is None:
        return ["  element: none is described, so no normal pressure can be foretold."]
    advice = "Do not copy it: teach it on the line."
    if sized.memory.taught is not None:
        advice = f"The line was taught {normal.stated_pa:.3g} Pa."
    elif normal.stated_pa is not None:
        advice += f" The file states {normal.stated_pa:.3g} Pa."
    return [
        f"  element.normal_pa: expect {normal.likely_pa:.3g} Pa, {normal.least_pa:.3g} to "
        f"{normal.greatest_pa:.3g} Pa. {advice}"
    ]


def _watched(sized: SizedStation) -> str:
    if sized.file.station.required_airflow_l_min is None:
        return "watched once the file states it and the line is calibrated in place"
    if calibration(sized.file) is None:
        return "watched once the line is calibrated in place"
    return "watched: the line is calibrated in place"


def _noise(likely: Worn) -> str:
    hiss = ""
    if likely.hose_m_s > NOISY_M_S:
        hiss = f", over {NOISY_M_S:.0f} m/s: expect it to hiss, a wider hose is quieter"
    return (
        f"  Noise: {likely.hose_m_s:.1f} m/s in the hose{hiss}. 42 CFR 84.140 asks for "
        f"{GREATEST_NOISE_DBA:.0f} dBA inside at the most: measure it, hood on, fan full, and make "
        "sure that the siren is heard over it."
    )


def _plate_taps(sized: SizedStation) -> list[str]:
    plate = _plate(sized.sizing)
    if plate is None:
        return ["  No orifice plate suits this line."]
    wind_pa = sized.sizing.line.wind_pa[1]
    return [
        _taps(plate),
        "  Both its taps belong in the line: one that is open to outdoors reads the wind, "
        f"{wind_pa:.0f} Pa at {sized.file.intake.wind_m_s:g} m/s.",
    ]


def _taps(judged: Judged) -> str:
    plate = judged.candidate.element
    assert isinstance(plate, Orifice)
    pipe_mm, name = plate.pipe_mm, judged.candidate.name
    return (
        f"  {name[0].upper()}{name[1:]}: square edge upstream, in a rigid "
        f"straight pipe with {STRAIGHT_BEFORE * pipe_mm / 1000:g} m before and "
        f"{STRAIGHT_BEHIND * pipe_mm / 1000:g} m behind it (common practice). Taps in the corners "
        f"at the plate, or {pipe_mm:g} mm before and {pipe_mm / 2:g} mm behind, on the pipe's "
        "upper side so that no water runs in."
    )


def _plate(sizing: Sizing) -> Judged | None:
    """The station's own plate, else the best one."""
    own = sizing.own
    if own is not None and own.candidate.kind is ElementKind.ORIFICE and own.usable_with:
        return own
    return sizing.best_plate


def _of_kind(sizing: Sizing, kind: ElementKind) -> Judged | None:
    return next((each for each in sizing.elements if each.candidate.kind is kind), None)


def _wearer_row(name: str, figures: list[str]) -> str:
    return f"  {name:<40}" + "".join(f"{figure:>12}" for figure in figures)


def _ppm(worn: Worn) -> str:
    return f"{1e6 * worn.co2_fraction:.0f}"
