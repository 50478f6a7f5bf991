"""Each hazard in the midst of ordinary use, seeded: how soon it is told, and what it is called."""

from functools import cache

import pytest

from linetender.core.events import Sound
from linetender.core.instants import to_seconds
from linetender.core.plan import Arrangement, Plan
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender.simulation.confusion import call
from linetender.simulation.detection import (
    TARGETS,
    Delays,
    delays_of,
    in_words,
    lorden_s,
    quantile,
    sounded_ns,
)
from linetender.simulation.detection_curve import curve_of
from linetender.simulation.drift_delay import SHIFTS, drift_against_bound
from linetender.simulation.hazard_runs import HazardRun, figures_of, run_hazard
from linetender.simulation.hazards import HAZARDS, OF_A_SENSOR, Hazard

CELLS = [(side, hazard) for hazard in HAZARDS for side in hazard.truth]
NAMED = {hazard.name: hazard for hazard in HAZARDS}
SLOW_S = 100.0


@cache
def plan_of(side: Arrangement) -> Plan:
    """Return the station of an arrangement with the default rules."""
    return load_station(shipped(f"config/scenarios/stations/{side.value}.toml")).plan


def runs_of(side: Arrangement, hazard: Hazard, seeds: range) -> list[HazardRun]:
    return [run_hazard(plan_of(side), figures_of(plan_of(side)), hazard, seed) for seed in seeds]


@pytest.mark.parametrize(
    ("side", "hazard"), CELLS, ids=[f"{side}-{hazard.name}" for side, hazard in CELLS]
)
def test_it_is_called_by_its_name_and_never_dangerously(side: Arrangement, hazard: Hazard) -> None:
    seeds = range(1, 2) if hazard.lasts_s > SLOW_S else range(1, 4)
    called = call(plan_of(side), hazard, seeds)
    assert called.runs == len(seeds)
    assert (called.right_part, called.dangerous, called.silent) == (1.0, [], 0), called.last


def test_what_takes_the_air_or_harms_the_wearer_may_never_be_called_a_sensor_s_fault() -> None:
    of_parts = ("tap tube off", "sensor frozen", "sensor unplugged")
    for hazard in HAZARDS:
        is_part = hazard.name in of_parts or hazard.name.startswith(("oximeter", "cold"))
        assert is_part or hazard.never == OF_A_SENSOR, hazard.name


@pytest.mark.parametrize("name", TARGETS)
def test_leave_sounds_soon(name: str) -> None:
    target, hazard = TARGETS[name], NAMED[name]
    for side in hazard.truth:
        delays = delays_of(plan_of(side), hazard, range(20, 26), scatter=3.0)
        assert delays.late(target) == 0
        assert delays.median_s(target) <= target.median_s
        assert target.is_from_onset or delays.unlost == 0


def test_a_run_that_is_late_or_tells_only_to_look_misses_its_target() -> None:
    delays = Delays(from_onset=[0.4, 0.6, 0.7], from_loss=[1.0, 5.5], missed=[7], looks=1)
    assert delays.late(TARGETS["mains lost"]) == 4
    assert delays.late(TARGETS["fan stopped"]) == 3
    assert delays.median_s(TARGETS["mains lost"]) == 0.6


def test_nothing_sounds_before_the_hazard() -> None:
    for side in Arrangement:
        for run in runs_of(side, NAMED["fan stopped"], range(1, 4)):
            assert sounded_ns(run.before, Sound.HIGH) is None


def test_a_quick_run_tells_as_soon_and_ends_when_it_has() -> None:
    for side in Arrangement:
        for seed in range(1, 4):
            hazard, plan = NAMED["duct crushed"], plan_of(side)
            run = run_hazard(plan, figures_of(plan), hazard, seed, quick=True)
            leaves_ns = sounded_ns(run.events, Sound.HIGH)
            assert leaves_ns is not None
            assert run.lost_ns is not None
            assert 1.5 < to_seconds(leaves_ns - run.lost_ns) < 3.0
            assert run.air[-1][0] == leaves_ns


def test_a_run_is_its_seed() -> None:
    first, again = (runs_of(Arrangement.FAN_SIDE, HAZARDS[0], range(3, 4)) for _ in range(2))
    assert first == again
    assert first != runs_of(Arrangement.FAN_SIDE, HAZARDS[0], range(4, 5))


@pytest.mark.parametrize("shift", SHIFTS)
def test_a_drift_comes_near_the_bound(shift: float) -> None:
    delay_s, bound_s = drift_against_bound(shift, 200)
    assert 0.5 < delay_s / bound_s < 1.5


def test_lorden_s_bound_of_a_sudden_shift() -> None:
    """ln(3.6 million s) = 15.1 of information, at 50 per second for ten standard deviations."""
    air = [(10**8 * tenth, 80.0) for tenth in range(1, 100)]
    assert lorden_s(HazardRun(0, air=air), scatter=2.0) == pytest.approx(15.1 / 50.0, abs=0.11)
    assert lorden_s(HazardRun(0, air=[(10**9, 100.5)]), scatter=2.0) is None


def test_a_lower_limit_and_a_longer_delay_are_later() -> None:
    points = curve_of(plan_of(Arrangement.FAN_SIDE), runs=2, hours=1)
    late_s = {(point.limit, point.on_delay_s): point.median_s for point in points}
    assert late_s[90.0, 0.0] < late_s[80.0, 0.0] < late_s[65.0, 0.0] < late_s[50.0, 0.0]
    assert late_s[65.0, 0.0] < late_s[65.0, 1.0] < late_s[65.0, 2.0] < late_s[65.0, 4.0]
    false = {(point.limit, point.on_delay_s): point.false_per_1000_h for point in points}
    assert false[90.0, 0.0] > false[65.0, 2.0] == 0.0


def test_quantiles() -> None:
    assert quantile([3.0, 1.0, 2.0], 0.5) == 2.0
    assert quantile([float(k) for k in range(100)], 0.95) == 94.0
    assert in_words([1.0, 2.0, 4.0]).split() == ["2.00", "4.00", "4.00"]
