"""A fan with inertia, and what its line makes of its speed and of what befalls it."""

import math
from dataclasses import dataclass

import pytest

from linetender.airline.air_state import AirState, air_at
from linetender.airline.alarm_budget import coast_down_s
from linetender.airline.fan import Fan as CurveFan
from linetender.airline.fan import ParabolicCurve
from linetender.airline.filter import REFERENCE_VISCOSITY_PA_S
from linetender.airline.filter import Filter as AirFilter
from linetender.airline.flow_element import Flag
from linetender.airline.network import operating_point
from linetender.simulation.fan import Fan
from linetender.simulation.line import Line, LineFigures, LineState

S = 1_000_000_000
FIGURES = LineFigures()


def test_coast_down_from_full_speed() -> None:
    fan = Fan(tau_s=3.0)
    fan.drive(0, 1.0)
    fan.drive(100 * S, 0.0)
    assert [fan.speed(100 * S + k * 3 * S) for k in (0, 1, 3)] == pytest.approx([1, 1 / 2, 1 / 4])
    due_ns = 100 * S + round(coast_down_s(0.65, 3.0) * S)
    assert fan.speed(due_ns) == pytest.approx(0.65)


def test_speed_obeys_its_equation_of_motion() -> None:
    """τ·dω/dt = s² - ω² with the speed s that the supply asks for, by central differences."""
    fan = Fan(tau_s=3.0)
    for at_s, asked in ((0, 1.0), (4, 0.0), (7, 0.6), (10, 1.0), (20, 0.3)):
        fan.drive(at_s * S, asked)
        now, h = (at_s + 1) * S, S // 1000
        slope_per_s = (fan.speed(now + h) - fan.speed(now - h)) / (2 * h / S)
        assert 3.0 * slope_per_s == pytest.approx(asked**2 - fan.speed(now) ** 2, abs=1e-5)


def test_asking_again_keeps_the_speed() -> None:
    fan = Fan(tau_s=3.0)
    assert fan.speed(5 * S) == 0.0
    fan.drive(5 * S, 1.0)
    fan.drive(6 * S, 1.0)
    assert fan.speed(8 * S) == pytest.approx(math.tanh(1.0))
    before = fan.speed(8 * S)
    for asked in (0.0, 0.5, 1.0):
        fan.drive(8 * S, asked)
        assert fan.speed(8 * S) == pytest.approx(before)
    assert fan.speed(3600 * S) == pytest.approx(1.0)
    fan.drive(3600 * S, 0.7)
    assert fan.speed(7200 * S) == pytest.approx(0.7)


@pytest.mark.parametrize("tau", [0.0, -1.0, math.nan, math.inf])
def test_fan_without_inertia_is_refused(tau: float) -> None:
    with pytest.raises(ValueError, match="time constant"):
        Fan(tau)


@pytest.mark.parametrize("asked", [-0.1, 1.1, math.nan])
def test_a_speed_that_no_supply_can_ask_for(asked: float) -> None:
    with pytest.raises(ValueError, match="outside 0 to 1"):
        Fan(3.0).drive(0, asked)


def line(figures: LineFigures = FIGURES, **state: float) -> Line:
    made = Line(figures)
    made.set(LineState(**state))  # type: ignore[arg-type]
    return made


@dataclass(frozen=True)
class PowerLoss:
    """Δp = pa·(Q/normal)^power."""

    name: str
    pa: float
    power: float

    def pressure_drop_pa(self, airflow_l_min: float, air: AirState) -> float:
        return float(self.pa * (airflow_l_min / FIGURES.normal_l_min) ** self.power)

    def flags(self, airflow_l_min: float, air: AirState) -> tuple[Flag, ...]:
        return ()


AIR = AirState(20.0, 101_325.0, 50.0, 1.20, REFERENCE_VISCOSITY_PA_S)


@pytest.mark.parametrize("speed", [1.0, 0.8, 0.5, 0.1])
@pytest.mark.parametrize("loading", [1.0, 3.0])
def test_the_balance_is_that_of_the_network(speed: float, loading: float) -> None:
    """The same line, solved by the bracketing search that sizes real lines."""
    fan = CurveFan(ParabolicCurve(FIGURES.free_l_min, FIGURES.shut_off_pa))
    pieces = (
        AirFilter("filter", FIGURES.filter_pa, FIGURES.normal_l_min).loaded(loading),
        PowerLoss("duct", FIGURES.duct_pa, 2.0),
        PowerLoss("hood", FIGURES.normal_pa, 1.0 / FIGURES.exponent),
    )
    point = operating_point(fan, pieces, AIR, speed=speed)
    ours = line(filter=loading).at(speed)
    assert ours.fan_l_min == ours.hood_l_min == pytest.approx(point.airflow_l_min, rel=1e-8)
    assert ours.hood_pa == pytest.approx(point.drops[2].pressure_pa, rel=1e-7)
    assert ours.filter_pa == pytest.approx(point.drops[0].pressure_pa, rel=1e-7)


def test_a_sound_line_gives_its_normal() -> None:
    air = line(LineFigures(orifice_pa=45.0)).at(1.0)
    assert air == pytest.approx((250.0, 250.0, 60.0, 45.0, 40.0))
    assert line().at(0.0) == (0.0, 0.0, 0.0, 0.0, 0.0)


@pytest.mark.parametrize(("speed", "helping_pa"), [(1.0, -180.0), (0.0, -5.4), (0.0, -29.4)])
def test_wind_stronger_than_the_fan_turns_the_air_round(speed: float, helping_pa: float) -> None:
    air = line().at(speed, helping_pa)
    assert air.fan_l_min == air.hood_l_min < 0.0
    assert air.hood_pa < 0.0
    # The drops of all pieces, from the definition of each, are what the wind has left over.
    flow = -air.hood_l_min
    part = flow / FIGURES.normal_l_min
    drops = (
        FIGURES.filter_pa * part
        + FIGURES.duct_pa * part**2
        + FIGURES.normal_pa * part ** (1.0 / FIGURES.exponent)
        + FIGURES.shut_off_pa * (flow / FIGURES.free_l_min) ** 2
    )
    assert drops == pytest.approx(-helping_pa - FIGURES.shut_off_pa * speed**2, rel=1e-9)


def test_wind_weaker_than_the_fan_takes_air() -> None:
    assert 0.0 < line().at(1.0, -60.0).hood_l_min < 200.0
    assert line(crush=1.0).at(0.0, -60.0).hood_l_min == 0.0


def test_crushed_duct() -> None:
    flows = [line(crush=part).at(1.0).hood_l_min / 250.0 for part in (0.0, 0.25, 0.5, 0.75, 1.0)]
    assert flows[0] == pytest.approx(1.0)
    assert flows[2] == pytest.approx(0.77, abs=0.001)
    assert flows == sorted(flows, reverse=True)
    assert flows[-1] == 0.0


# What each sees of a fault, over normal: flow at the hood, pressure at its tap, at the orifice.
FAULTS = [
    ({"crush": 0.95}, "falls", "falls", "falls"),
    ({"kink": 0.75}, "falls", "rises", "falls"),
    ({"leak": 0.8}, "falls", "falls", "rises"),
    ({"filter": 5.0}, "falls", "falls", "falls"),
    ({"duct_off_at_fan": True}, "gone", "gone", "rises"),
    ({"duct_off_at_hood": True}, "gone", "gone", "rises"),
    ({"hose_off": True}, "gone", "stays", "stays"),
]


@pytest.mark.parametrize(("state", "flow", "tap", "orifice"), FAULTS)
def test_what_each_end_sees(state: dict[str, float], flow: str, tap: str, orifice: str) -> None:
    figures = LineFigures(orifice_pa=45.0)
    sound, faulty = line(figures).at(1.0), line(figures, **state).at(1.0)

    def seen(now: float, before: float) -> str:
        if now == 0.0:
            return "gone"
        if abs(now / before - 1.0) < 0.08:
            return "stays"
        return "rises" if now > before else "falls"

    assert seen(faulty.hood_l_min, sound.hood_l_min) == flow
    assert seen(faulty.hood_pa, sound.hood_pa) == tap
    assert seen(faulty.orifice_pa, sound.orifice_pa) == orifice


@pytest.mark.parametrize("fraction", [-0.1, 1.1, math.nan])
def test_crushing_by_no_fraction_is_refused(fraction: float) -> None:
    with pytest.raises(ValueError, match="outside 0 to 1"):
        line(crush=fraction)


def test_the_velocity_head_of_a_throat_is_larger_than_the_duct_s_own() -> None:
    """The line is invented, and says so: a duct of 100 mm would have a tenth of a pascal."""
    head_pa = 0.5 * air_at(21.0, 96_600.0, 50.0).density_kg_m3 * (250 / 60_000 / 0.00785) ** 2
    assert head_pa < 1.0 < FIGURES.throat_pa
