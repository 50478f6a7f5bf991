"""What one pressure says of the air: good air, baseline, arming, and the tachometer."""

from collections.abc import Sequence

import msgspec
import pytest

from core.watching import NORMAL_PA, Bench, plan
from linetender.core.air import Air
from linetender.core.events import BaselineSet
from linetender.core.inputs import Verb
from linetender.core.instants import SECOND_NS as S
from linetender.core.journal import Journal
from linetender.core.plan import AirPlan, Plan
from linetender.core.plan_faults import fault_of_plan
from linetender.core.signals import Signal

HOOD, RPM = Signal.HOOD_PRESSURE_PA, Signal.FAN_SPEED_RPM
TAUGHT = AirPlan(HOOD, NORMAL_PA, 0.5)
# Q = 20·Δp^0.5: 154.9 L/min at 60 Pa, 200 at 100 Pa.
CALIBRATED = AirPlan(
    HOOD, 100.0, 0.5, k_l_min=20.0, relative_uncertainty=0.05, required_l_min=170.0
)


def station(air: AirPlan = TAUGHT, *, tachometer: bool = False) -> Plan:
    """Return a station without rules."""
    made = plan(signals=(RPM,) if tachometer else (), air=True)
    fields = {name: getattr(made, name) for name in made.__struct_fields__}
    return Plan(**fields | {"air": air})


def value_of(bench: Bench, signal: Signal) -> float | None:
    """Return a signal's value in the snapshot."""
    return next(v.value for v in bench.watch.snapshot().signals if v.signal is signal)


# Pressure over normal, and the air in percent.
PERCENTS = [
    (0.5, 60.0, 100.0),
    (0.5, 15.0, 50.0),
    (0.5, 240.0, 200.0),
    (0.5, 0.0, 0.0),
    (0.5, -50.0, 0.0),
    (0.54, 27.0, 65.0),  # 45 % of hose pressure is about 65 % of flow (chosen exponent)
    (1.0, 30.0, 50.0),
]


@pytest.mark.parametrize(("exponent", "pressure_pa", "percent"), PERCENTS)
def test_percent_of_the_taught_normal(exponent: float, pressure_pa: float, percent: float) -> None:
    bench = Bench(station(AirPlan(HOOD, NORMAL_PA, exponent)))
    bench.good(0.0, HOOD, pressure_pa)
    assert value_of(bench, Signal.AIR_PERCENT_OF_BASELINE) == pytest.approx(percent, abs=0.1)
    assert Signal.AIRFLOW_L_MIN not in bench.watch.channels


def test_airflow_exists_where_the_line_is_calibrated() -> None:
    bench = Bench(station(CALIBRATED))
    bench.good(0.0, HOOD, 64.0)
    assert value_of(bench, Signal.AIRFLOW_L_MIN) == 160.0
    assert value_of(bench, Signal.AIR_PERCENT_OF_BASELINE) == 80.0


def test_the_pressure_factor_corrects_a_thermal_sensor() -> None:
    """Factor 1.21 on pressure is 1.1 on flow where the exponent is 0.5."""
    bench = Bench(
        station(AirPlan(HOOD, 100.0, 0.5, pressure_factor=1.21, k_l_min=20.0, required_l_min=1.0))
    )
    bench.good(0.0, HOOD, 100.0)
    assert value_of(bench, Signal.AIRFLOW_L_MIN) == pytest.approx(220.0)
    assert value_of(bench, Signal.AIR_PERCENT_OF_BASELINE) == pytest.approx(100.0)


@pytest.mark.parametrize("zero_pa", [3.0, -3.0])
def test_the_zero_is_taken_off_once(zero_pa: float) -> None:
    """With a zero in the plan and in every reading, all comes out as without: flow, baseline."""
    off = msgspec.structs.replace(CALIBRATED, normal_pa=90.0, zero_pa=zero_pa)
    true = msgspec.structs.replace(off, zero_pa=0.0)
    shifted, straight = (
        minutes_of([pressure_pa] * 70, air)
        for pressure_pa, air in ((100.0 + zero_pa, off), (100.0, true))
    )
    (event,) = [event for event in shifted.said if isinstance(event, BaselineSet)]
    assert (event.signal, event.value) == (Signal.AIRFLOW_L_MIN, 200.0)
    for bench, pressure_pa in ((shifted, 64.0 + zero_pa), (straight, 64.0)):
        bench.good(71.0, HOOD, pressure_pa)
        assert value_of(bench, Signal.AIRFLOW_L_MIN) == pytest.approx(160.0)
        assert value_of(bench, Signal.AIR_PERCENT_OF_BASELINE) == pytest.approx(80.0)
        bench.good(72.0, HOOD, pressure_pa - 64.0, doubt="warming_up")
        assert value_of(bench, Signal.AIRFLOW_L_MIN) == 0.0
    assert value_of(shifted, HOOD) == pytest.approx(zero_pa)


def test_a_taught_line_keeps_its_baseline_over_the_zero() -> None:
    bench = minutes_of([63.0] * 70, msgspec.structs.replace(TAUGHT, zero_pa=3.0))
    (event,) = [event for event in bench.said if isinstance(event, BaselineSet)]
    assert (event.signal, event.value) == (HOOD, 60.0)


@pytest.mark.parametrize(
    ("zero_pa", "fault"),
    [
        (0.0, None),
        (-2500.0, None),
        (2501.0, "air.zero_pa is 2501.0; within ±2500 Pa was expected"),
        (float("nan"), "air.zero_pa is nan; a finite number was expected"),
    ],
)
def test_a_zero_past_all_sensors_is_a_fault_of_the_plan(zero_pa: float, fault: str | None) -> None:
    assert fault_of_plan(station(msgspec.structs.replace(TAUGHT, zero_pa=zero_pa))) == fault


def test_a_bad_pressure_is_no_air_value_and_a_doubtful_one_stays_doubtful() -> None:
    bench = Bench(station(CALIBRATED))
    bench.good(0.0, HOOD, 64.0)
    bench.bad(1.0, HOOD, "crc")
    views = [(v.value, v.reason) for v in bench.watch.snapshot().signals]
    assert views == [(None, "crc")] * 3
    bench.good(2.0, HOOD, 64.0, doubt="warming_up")
    qualities = [v.quality.value for v in bench.watch.snapshot().signals]
    assert qualities == ["degraded"] * 3


def minutes_of(pressures: Sequence[float | None], air: AirPlan = TAUGHT) -> Bench:
    """Feed one pressure a second; None is a bad reading."""
    bench = Bench(station(air))
    for second, pressure in enumerate(pressures):
        if pressure is None:
            bench.bad(second + 0.5, HOOD)
        else:
            bench.good(second + 0.5, HOOD, pressure)
    return bench


# 1 s means, and whether the watch is armed (and a baseline taken) at the end.
ARMING = [
    ("60 good seconds", [60.0] * 62, True),
    ("59 are too few", [60.0] * 60, False),
    ("80 % of the normal flow is 64 % of its pressure", [39.0] * 80, True),
    ("less is not good air", [38.0] * 80, False),
    ("a bad second starts it again", [60.0] * 40 + [None] + [60.0] * 40, False),
    ("so does one lull", [60.0] * 40 + [10.0] + [60.0] * 40, False),
    ("a spread of 14 % of flow is steady", [60.0, 45.0] * 40, True),
    ("16 % is not", [60.0, 42.0] * 40, False),
]


@pytest.mark.parametrize(
    ("means", "is_armed"), [case[1:] for case in ARMING], ids=[case[0] for case in ARMING]
)
def test_arming(means: list[float | None], is_armed: bool) -> None:
    snapshot = minutes_of(means).watch.snapshot()
    assert snapshot.air_armed is is_armed
    assert (snapshot.air_baseline is not None) is is_armed


def test_where_calibrated_good_air_must_reach_the_minimum_less_two_uncertainties() -> None:
    """Q - 2u >= 170 at 5 % uncertainty: Q from 188.9 L/min, 89.2 Pa."""
    assert not minutes_of([89.0] * 70, CALIBRATED).watch.snapshot().air_armed
    assert minutes_of([90.0] * 70, CALIBRATED).watch.snapshot().air_armed


def test_silence_ends_a_run_of_good_air() -> None:
    bench = minutes_of([60.0] * 40)
    for second in range(45, 90):
        bench.good(second + 0.5, HOOD, 60.0)
    assert not bench.watch.snapshot().air_armed


def test_the_baseline_is_the_median_of_the_first_good_minute() -> None:
    bench = minutes_of([50.0] * 30 + [60.0] * 32)
    (event,) = [event for event in bench.said if isinstance(event, BaselineSet)]
    assert (event.signal, event.value, event.source) == (HOOD, 55.0, "good_air")


def test_the_pre_use_check_takes_its_own_baseline_from_20_s_and_an_end_discards_it() -> None:
    bench = Bench(station(CALIBRATED))
    bench.command(0.0, Verb.PRE_USE)
    bench.stream(0.0, 25.0, 0.2, hood_pressure_pa=121.0)
    bench.command(25.0, Verb.START)
    bench.good(25.0, HOOD, 121.0)
    assert value_of(bench, Signal.AIR_PERCENT_OF_BASELINE) == 100.0
    bench.command(26.0, Verb.END)
    bench.good(26.0, HOOD, 121.0)
    assert value_of(bench, Signal.AIR_PERCENT_OF_BASELINE) == 110.0
    events = [event for event in bench.said if isinstance(event, BaselineSet)]
    assert [(e.signal, e.value, e.source) for e in events] == [
        (Signal.AIRFLOW_L_MIN, 220.0, "pre_use"),
        (Signal.AIRFLOW_L_MIN, None, "ended"),
    ]
    assert 20 * S <= events[0].due_ns <= 22 * S


def test_a_baseline_too_low_is_refused() -> None:
    bench = Bench(station())
    bench.command(0.0, Verb.PRE_USE)
    bench.stream(0.0, 120.0, 0.2, hood_pressure_pa=30.0)
    assert bench.watch.snapshot().air_baseline is None


# The tachometer: (second, rpm) from 3 000 rpm at the baseline, then flow over B.
SPEEDS = [
    ("steady", [(0, 3000), (1, 3000)], 1.0),
    ("4 % is no change", [(0, 3000), (1, 3120)], 1.0),
    ("5 % within 5 s explains", [(0, 3000), (4, 3150)], 1.05),
    ("8 % over 8 s does not", [(0, 3000), (2, 3060), (4, 3120), (6, 3180), (8, 3240)], 1.0),
    ("half the speed", [(0, 3000), (2, 1500)], 0.5),
    ("a fan that stands explains nothing", [(0, 3000), (2, 0)], 1.0),
]


@pytest.mark.parametrize(
    ("speeds", "ratio"), [case[1:] for case in SPEEDS], ids=[case[0] for case in SPEEDS]
)
def test_only_a_speed_that_moved_explains_a_change(
    speeds: list[tuple[int, int]], ratio: float
) -> None:
    air = Air(TAUGHT, Journal())
    air.baseline_rpm = 3000.0
    for at_s, rpm in speeds:
        air.see_speed(at_s * S, float(rpm))
    assert air.speed_ratio == pytest.approx(ratio)


@pytest.mark.parametrize(
    ("ratio", "pressure_pa", "percent"),
    [
        (1.2, 144.0, 100.0),  # faster, and the flow with it
        (1.2, 100.0, 83.3),  # faster, but the flow stayed: a kink
        (0.95, 90.25, 100.0),  # slower, and still enough: 190 L/min less 10 % is 171
        (0.5, 25.0, 50.0),  # slower than the minimum allows: not excused
    ],
)
def test_an_explained_change_is_compared_with_the_speed_and_must_still_be_enough(
    ratio: float, pressure_pa: float, percent: float
) -> None:
    air = Air(CALIBRATED, Journal())
    air.speed_ratio = ratio
    assert air.percent(air.power(pressure_pa)) == pytest.approx(percent, abs=0.05)


def test_on_a_taught_line_a_slower_fan_excuses_nothing() -> None:
    """Nobody knows there whether what is left is enough."""
    air = Air(TAUGHT, Journal())
    air.speed_ratio = 0.5
    assert air.percent(air.power(15.0)) == pytest.approx(50.0)


def test_a_turned_knob_with_a_tachometer_raises_nothing() -> None:
    bench = Bench(station(CALIBRATED, tachometer=True))
    bench.command(0.0, Verb.PRE_USE)
    for second in range(25):
        bench.good(float(second), RPM, 3000.0)
        bench.stream(second, second + 1, 0.2, hood_pressure_pa=100.0)
    bench.command(25.0, Verb.START)
    bench.good(26.0, RPM, 3600.0)
    bench.good(26.2, HOOD, 144.0)
    assert value_of(bench, Signal.AIR_PERCENT_OF_BASELINE) == pytest.approx(100.0)
