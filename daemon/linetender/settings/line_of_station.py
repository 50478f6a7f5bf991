"""From the station file's tables to the airline's line, for reckoning what it will do."""

from collections.abc import Iterator

from linetender.airline import duct, fan
from linetender.airline.air_line import AirLine, Doubt, Run
from linetender.airline.air_state import AirState, air_at_altitude
from linetender.airline.breathing_air import LEAST_LOOSE_FITTING_L_MIN
from linetender.airline.disturbance import (
    LEE_COEFFICIENT,
    stack_effect_pa,
    wind_pressure_pa,
)
from linetender.airline.duct import Roughness
from linetender.airline.element_choice import (
    Candidate,
    ElementKind,
    bare_duct,
    hood_hose,
    pitot,
    plate,
)
from linetender.airline.filter import (
    HEPA_PANEL,
    MERV_13_1_INCH,
    MERV_13_2_INCH,
    MERV_13_4_INCH,
    Filter,
)
from linetender.airline.fitted_element import CalibratedElement
from linetender.airline.hood_outlet import HoodOutlet
from linetender.airline.network import NoOperatingPoint
from linetender.airline.orifice import Orifice
from linetender.airline.sizing import Sizing, Wearer, size_line
from linetender.core.plan import Arrangement
from linetender.settings.compile_air import ROOM_TEMPERATURE_C
from linetender.settings.line_tables import DuctMaterial, DuctTable, FilterMedium
from linetender.settings.positions import Path
from linetender.settings.pressure_sensors import NamedSensor
from linetender.settings.problems import Problem, StationFileError
from linetender.settings.station_file import (
    DuctElement,
    Element,
    FittedElement,
    HoodHoseElement,
    OrificeElement,
    PitotElement,
    StationFile,
)
from linetender.settings.toml_file import TomlFile

CURVE_DOUBT = Doubt(0.9, 1.1)
"""Pressure of a fan over that of its maker's curve (chosen)."""

TWO_FIGURES_DOUBT = Doubt(0.75, 1.15)
"""The same over a parabola through shut-off pressure and free airflow (chosen)."""

STATED_ROUGHNESS = Doubt(0.5, 1.5)
"""Roughness over one that is stated as a figure (chosen)."""

MEDIA = {
    FilterMedium.HEPA: HEPA_PANEL,
    FilterMedium.MERV_13_1_INCH: MERV_13_1_INCH,
    FilterMedium.MERV_13_2_INCH: MERV_13_2_INCH,
    FilterMedium.MERV_13_4_INCH: MERV_13_4_INCH,
}

WALLS = {
    DuctMaterial.DRAWN_TUBING: (duct.DRAWN_TUBING, duct.SMOOTH_BEND_LOSS),
    DuctMaterial.PVC_PIPE: (duct.PVC_PIPE, duct.SMOOTH_BEND_LOSS),
    DuctMaterial.GALVANIZED_SPIRAL: (duct.GALVANIZED_SPIRAL, duct.SMOOTH_BEND_LOSS),
    DuctMaterial.FLEXIBLE: (duct.FLEXIBLE_STRETCHED, duct.FLEXIBLE_BEND_LOSS),
    DuctMaterial.FILM: (duct.WRINKLED_FILM, duct.FLEXIBLE_BEND_LOSS),
}
"""Roughness and loss of a bend."""


def sizing_of(
    station: StationFile,
    toml: TomlFile,
    sensors: tuple[NamedSensor, ...],
    calibrated: CalibratedElement | None = None,
) -> Sizing:
    """Reckon what a station's line will do.

    Args:
        station: The station file's tables.
        toml: The file, for lines.
        sensors: The sensors to judge with, the station's own first where it has one.
        calibrated: The station's element as it was calibrated in place with that sensor;
            None where it was not.

    Raises:
        StationFileError: The file does not tell enough of the line, or fan and line do
            not meet anywhere.
    """
    missing = list(_missing(station, toml))
    if missing:
        raise StationFileError(missing)
    line = line_of(station)
    own = own_candidate(station, line) if calibrated is None else _as_calibrated(calibrated)
    wearer = Wearer(station.hood.co2_l_min, station.intake.coldest_c)
    try:
        return size_line(
            line, own, tuple(each.sensor for each in sensors), required_l_min(station), wearer
        )
    except NoOperatingPoint as none:
        raise StationFileError([_no_point(none, station, toml)]) from none


def required_l_min(station: StationFile) -> float:
    """Return the least permitted airflow (L/min): the station's own, else the published one."""
    stated = station.station.required_airflow_l_min
    return LEAST_LOOSE_FITTING_L_MIN if stated is None else stated


def line_of(station: StationFile) -> AirLine:
    """Return the line that a station file draws; it must tell fan, ducts and hood."""
    altitude_m = station.station.altitude_m or 0.0
    air = air_at_altitude(altitude_m, station.intake.temperature_c)
    likely, doubt = _fan(station)
    element = station.element
    own_plate = None
    if isinstance(element, OrificeElement):
        own_plate = Orifice(element.pipe_mm, element.bore_mm)
    is_beside_fan = station.station.arrangement is Arrangement.FAN_SIDE
    return AirLine(
        fan=likely,
        fan_doubt=doubt,
        runs=tuple(_run(place, piece) for place, piece in enumerate(station.duct, start=1)),
        outlet=HoodOutlet(station.hood.outlet_cm2 or 0.0),
        air=air,
        filter=_filter(station),
        plate=own_plate,
        plate_before=0 if is_beside_fan else len(station.duct) - 1,
        speed=station.fan.speed_percent / 100.0,
        stack_pa=_stack_pa(station, air, altitude_m),
        wind_pa=(
            wind_pressure_pa(station.intake.wind_m_s, air, LEE_COEFFICIENT),
            wind_pressure_pa(station.intake.wind_m_s, air),
        ),
    )


def own_candidate(station: StationFile, line: AirLine) -> Candidate | None:
    """Return what the station measures across; None where the file has no element."""
    element: Element | None = station.element
    width_mm = line.trunk.diameter_mm
    match element:
        case OrificeElement():
            return plate(element.pipe_mm, element.bore_mm, is_own=True)
        case FittedElement():
            relative = element.standard_uncertainty_percent / 100.0
            reference = AirState(
                ROOM_TEMPERATURE_C,
                line.air.pressure_pa,
                line.air.humidity_percent,
                element.reference_density_kg_m3,
                line.air.viscosity_pa_s,
            )
            fitted = CalibratedElement(element.k, element.n, reference, relative)
            name = f"calibrated, {element.k:g} · Δp^{element.n:g}"
            return Candidate(ElementKind.FITTED, name, fitted, is_own=True)
        case HoodHoseElement():
            return hood_hose(line, is_own=True)
        case PitotElement():
            return pitot(width_mm, is_own=True)
        case DuctElement():
            return bare_duct(line.trunk, is_own=True)
    return None


def _as_calibrated(element: CalibratedElement) -> Candidate:
    name = f"calibrated, {element.k_l_min:.3g} · Δp^{element.exponent:.3f}"
    return Candidate(ElementKind.FITTED, name, element, is_own=True, holds_span=True)


def _missing(station: StationFile, toml: TomlFile) -> Iterator[Problem]:
    if station.fan.points is None and station.fan.rated_airflow_l_min is None:
        expected = "missing: what the fan can do; expected points, or two figures of its label"
        remedy = "add points of the maker's curve, or rated_airflow_l_min and shut_off_pa"
        yield toml.problem(("fan", "points"), expected, remedy)
    if not station.duct:
        expected = "missing: the ducts and hoses between fan and hood, in the order of the air"
        remedy = "add a table [[duct]] with length_m, diameter_mm and material for each"
        yield toml.problem(("duct",), expected, remedy)
    if station.hood.outlet_cm2 is None:
        expected = "missing: the open area by which the air leaves the hood, cm²"
        remedy = "measure the gap at the neck, length times width, and write it there"
        yield toml.problem(("hood", "outlet_cm2"), expected, remedy)


def _no_point(none: NoOperatingPoint, station: StationFile, toml: TomlFile) -> Problem:
    """Name the key that keeps fan and line apart: the rise, or where the fan's curve ends."""
    what, _, remedy = str(none).rpartition(". ")
    path: Path = ("fan", "rated_airflow_l_min")
    if station.fan.points is not None:
        path = ("fan", "points", len(station.fan.points) - 1)
    remedy = remedy[0].lower() + remedy[1:]
    has_end = none.nearest_l_min != 0.0 and station.fan.points is not None
    if station.intake.rise_m != 0.0 and not has_end:
        path, remedy = ("intake", "rise_m"), "check the height, or take a stronger fan"
    expected = f"no airflow fits fan and line: {what}"
    return toml.problem(path, expected, remedy, toml.at(path))


def _fan(station: StationFile) -> tuple[fan.Fan, Doubt]:
    table = station.fan
    if table.points is not None:
        points = tuple(
            fan.CurvePoint(each.airflow_l_min, each.pressure_pa) for each in table.points
        )
        return fan.Fan(fan.PointCurve(points)), CURVE_DOUBT
    free_l_min = table.rated_airflow_l_min or 0.0
    if table.shut_off_pa is not None:
        return fan.Fan(fan.ParabolicCurve(free_l_min, table.shut_off_pa)), TWO_FIGURES_DOUBT
    likely = fan.curve_from_power(free_l_min, table.power_w or 0.0)
    low, high = (each / fan.TYPICAL_EFFICIENCY for each in fan.EFFICIENCY_RANGE)
    return fan.Fan(likely), Doubt(low, high)


def _filter(station: StationFile) -> Filter | None:
    table = station.filter
    if table is None:
        return None
    if table.medium is not None:
        width_mm, height_mm = table.width_mm or 0.0, table.height_mm or 0.0
        return Filter.panel("filter", MEDIA[table.medium], width_mm, height_mm)
    return Filter("filter", table.rated_pa or 0.0, table.rated_airflow_l_min or 0.0)


def _run(place: int, piece: DuctTable) -> Run:
    if piece.material is not None:
        roughness, loss_per_bend = WALLS[piece.material]
    else:
        stated_mm = piece.roughness_mm or 0.0
        roughness = Roughness(*(factor * stated_mm for factor in STATED_ROUGHNESS))
        loss_per_bend = duct.FLEXIBLE_BEND_LOSS
    name = piece.name or f"duct {place}, {piece.length_m:g} m of {piece.diameter_mm:g} mm"
    return Run(
        name, piece.length_m, piece.diameter_mm, roughness, piece.quarter_bends, loss_per_bend
    )


def _stack_pa(station: StationFile, air: AirState, altitude_m: float) -> float:
    """Draught of outdoor air in a line that rises through a room of 20 °C."""
    room = air_at_altitude(altitude_m, ROOM_TEMPERATURE_C)
    return stack_effect_pa(station.intake.rise_m, air, room)
