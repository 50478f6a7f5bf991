"""The sheet of `size`, for people: 80 columns, plain, from the air to the alarm."""

from linetender.airline.sizing import Change, Sizing
from linetender.airline.trade_units import L_MIN_PER_CFM, PA_PER_INCH_OF_WATER
from linetender.annunciation.cautions import CAUTIONS
from linetender.cli.plain_output import is_plain
from linetender.cli.size_advice import alarm, hood_and_wearer, where_to_measure
from linetender.cli.size_elements import elements
from linetender.settings.filter_class import filter_class
from linetender.settings.sized_station import GREEDY_FILTER_SHARE, SizedStation

COLUMNS = 80

_BAR_COLUMNS = 24


def sheet(sized: SizedStation) -> list[str]:
    """Return the lines of the sheet; prose is not broken yet, rows of tables fit."""
    sections = (
        ("Airflow at the hood", _airflow(sized)),
        (
            f"Where each pascal goes, at {sized.sizing.likely.airflow_l_min:.0f} L/min",
            _drops(sized),
        ),
        ("What can tell the airflow", elements(sized)),
        ("Where to measure", where_to_measure(sized)),
        ("What if", _changes(sized.sizing)),
        ("The hood and its wearer", hood_and_wearer(sized)),
        ("The alarm", alarm(sized)),
        ("What speaks against it", _against(sized)),
        ("Whatever the figures say", [f"  {caution.short}" for caution in CAUTIONS]),
    )
    lines = [
        f"{sized.file.station.id} ({sized.file.station.arrangement}), from {sized.path}",
        "A forecast from a description, not a measurement: measure before you rely on it.",
        *_memory(sized),
        _verdict(sized),
    ]
    for title, body in sections:
        lines += ["", title, *body]
    return lines


def _verdict(sized: SizedStation) -> str:
    count = len(sized.findings)
    if count == 0:
        return "Nothing that can be reckoned speaks against this line."
    things = "One thing speaks" if count == 1 else f"{count} things speak"
    return f"{things} against it: see near the end."


def _memory(sized: SizedStation) -> list[str]:
    """Tell what was measured on the line already, and is reckoned with."""
    memory, relative = sized.memory, sized.calibrated_relative
    lines = []
    if memory.calibrated is not None:
        known = ""
        if relative is not None:
            known = (
                f": {sized.sizing.required_l_min:.0f} L/min are read within "
                f"±{200.0 * relative:.0f} % (95 %)"
            )
        lines.append(f"Calibrated in place on {memory.calibrated.made_at[:10]}{known}.")
    if memory.taught is not None:
        means = ""
        if sized.taught_l_min is not None:
            means = f", by the calibration {sized.taught_l_min:.0f} L/min"
        lines.append(
            f"Taught on {memory.taught.made_at[:10]}: {memory.taught.normal_pa:.3g} Pa{means}."
        )
    if memory.zero_pa is not None:
        lines.append(f"The sensor's zero as measured, {memory.zero_pa:+.3g} Pa, is reckoned with.")
    return [*lines, *memory.expired]


def _airflow(sized: SizedStation) -> list[str]:
    sizing = sized.sizing
    low, high = sizing.line.fan_doubt
    worst_pa, best_pa = sizing.line.wind_pa
    rows = [
        ("likely", sizing.likely.airflow_l_min),
        ("at worst, filter new", sizing.least_l_min),
        *([("at worst, filter due", sizing.least_due_l_min)] if sizing.line.filter else []),
        ("at best", sizing.greatest_l_min),
        ("needed", sizing.required_l_min),
    ]
    lines = [f"  {name:<24}{flow:7.0f} L/min{_cfm(flow):>14}" for name, flow in rows]
    source = "what the station file asks for"
    if sized.file.station.required_airflow_l_min is None:
        source = "the published least of a loose hood (42 CFR 84, subpart J, table 8)"
    verdict = "Enough" if sizing.is_enough else "Too little"
    part = sizing.least_due_l_min / sizing.required_l_min
    return [
        *lines,
        f"  Worst and best: the fan at {100 * low:.0f} to {100 * high:.0f} % of its pressure, "
        f"walls rough or smooth, wind of {sized.file.intake.wind_m_s:g} m/s at the intake "
        f"({worst_pa:+.1f} to {best_pa:+.1f} Pa).",
        f"  {verdict}: at worst {part:.1f} times what is needed. Needed is {source}.",
    ]


def _drops(sized: SizedStation) -> list[str]:
    likely = sized.sizing.likely
    inches = likely.fan_pa / PA_PER_INCH_OF_WATER
    lines = [f"  {'the fan gives':<30}{likely.fan_pa:8.1f} Pa   ({inches:.2f} inH2O)"]
    lines += [f"  {each.name:<30}{each.pressure_pa:+8.1f} Pa" for each in likely.disturbances]
    for drop in likely.drops:
        share = drop.pressure_pa / likely.lost_pa
        row = f"  {drop.name:<30}{drop.pressure_pa:8.1f} Pa{100 * share:5.0f} %  "
        lines.append((row if is_plain() else row + "#" * round(_BAR_COLUMNS * share)).rstrip())
    lines += [f"  Note: {flag.text}." for flag in likely.flags]
    return [*lines, *_filter(sized)]


def _filter(sized: SizedStation) -> list[str]:
    share = sized.sizing.filter_share
    if share is None:
        return ["  No filter is described: what drifts at the intake reaches the wearer."]
    return [*_carried(share), *_class(sized)]


def _carried(share: float) -> list[str]:
    hardly = "hardly " if share > GREEDY_FILTER_SHARE else ""
    return [
        f"  The fan {hardly}carries the filter: new it takes {100 * share:.0f} % of the pressure. "
        "Its own pressure tells how loaded it is, never the airflow: it drifts as it loads."
    ]


def _class(sized: SizedStation) -> list[str]:
    table = sized.file.filter
    if table is None or table.efficiency_class is None:
        return []
    known = filter_class(table.efficiency_class)
    return [
        f"  Class {known.name} ({known.standard}) stops {known.efficiency_percent:.10g} % of "
        f"{known.particles}, if no air passes beside it. It says nothing of the pressure, which "
        "goes with the area of the medium: figures from its label (rated_pa at "
        "rated_airflow_l_min) are the ones to trust. No such class stops gases or vapours."
    ]


def _changes(sizing: Sizing) -> list[str]:
    normal_l_min = sizing.likely.airflow_l_min
    lines = []
    for each in sizing.changes:
        change = 100.0 * (each.airflow_l_min / normal_l_min - 1.0)
        short = "   too little" if each.airflow_l_min < sizing.required_l_min else ""
        lines.append(
            f"  {each.change.value:<38}{each.airflow_l_min:6.0f} L/min{change:+6.0f} %{short}"
        )
    by_change = {each.change: each for each in sizing.changes}
    half, new = by_change.get(Change.HALF_LOADED), sizing.line.filter
    if half is not None and half.filter_pa is not None and new is not None:
        new_pa = new.pressure_drop_pa(normal_l_min, sizing.line.air)
        lines.append(
            f"  Half loaded, the filter resists 1.5 times and its pressure rises {new_pa:.1f} to "
            f"{half.filter_pa:.1f} Pa only, as the flow falls: judge pressure over flow. At twice "
            "the resistance it is due (rule of thumb)."
        )
    lines.append(
        "  The weaker fan is one that claims the same airflow at 20 W as another at 50 W: "
        "pressure goes with power (common practice)."
    )
    return lines


def _against(sized: SizedStation) -> list[str]:
    if not sized.findings:
        return ["  Nothing that can be reckoned."]
    return [f"  {text}" for text in sized.findings]


def _cfm(airflow_l_min: float) -> str:
    return f"({airflow_l_min / L_MIN_PER_CFM:.1f} cfm)"
