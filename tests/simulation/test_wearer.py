"""The wearer: an oximeter trails, and shows a fall in the end."""

import pytest

from linetender.airline.hood import WornHood
from linetender.simulation.blood import Blood
from linetender.simulation.gas_on_the_way import GasOnTheWay, IntakeAir
from linetender.simulation.slow_sensor import SlowSensor
from linetender.simulation.wearer import STEP_NS, Wearer

SEA_LEVEL_PA = 101_325.0
STEPS_PER_S = 1_000_000_000 // STEP_NS
CLEAN, FOUL = IntakeAir(0.0004, 0.209, 0.0), IntakeAir(0.01, 0.209, 200.0)


def shown_after(seconds: int, airflow_l_min: float, wearer: Wearer) -> float:
    for _ in range(seconds * STEPS_PER_S):
        wearer.step(airflow_l_min)
    return wearer.spo2_percent(0)


def worn() -> Wearer:
    wearer = Wearer(seed=1, ambient_pressure_pa=SEA_LEVEL_PA)
    wearer.hood_is_on = True
    return wearer


def test_good_air_keeps_saturation() -> None:
    wearer = worn()
    before = wearer.spo2_percent(0)
    assert 96.0 < before < 98.5
    assert shown_after(600, 250.0, wearer) == pytest.approx(before, abs=0.5)


def test_the_hood_settles_where_the_hood_model_does() -> None:
    wearer = worn()
    shown_after(120, 170.0, wearer)
    expected = WornHood(8.0, wearer.co2_l_min).in_flow(170.0)
    assert wearer.hood_co2_fraction == pytest.approx(expected.co2_fraction, rel=1e-6)
    assert wearer.hood_o2_fraction == pytest.approx(expected.o2_fraction, rel=1e-6)


def test_an_oximeter_shows_nothing_while_the_air_runs_out() -> None:
    """16 s after the air stopped the hood is below 19.5 % oxygen and the display still calm."""
    wearer = worn()
    before = shown_after(120, 250.0, wearer)
    after = shown_after(16, 0.0, wearer)
    assert wearer.hood_o2_fraction < 0.195
    assert after == pytest.approx(before, abs=0.1)


def test_breathing_too_little_in_good_air() -> None:
    wearer = worn()
    wearer.ventilation = 0.35
    assert shown_after(240, 250.0, wearer) < 85.0


def test_a_cold_finger_is_later() -> None:
    def shown(cold: float) -> float:
        wearer = worn()
        wearer.cold = cold
        wearer.ventilation = 0.35
        return shown_after(60, 250.0, wearer)

    assert shown(1.0) > shown(0.0) + 1.0


def test_a_shaken_probe_reads_low() -> None:
    shaken, still = worn(), worn()
    shaken.motion = 1.0
    seen = [shaken.spo2_percent(k * 10**9) - still.spo2_percent(k * 10**9) for k in range(200)]
    assert min(seen) < -3.0
    assert max(seen) <= 0.0


def test_stores_of_a_resting_person_are_settled_at_first() -> None:
    blood = Blood(SEA_LEVEL_PA, 0.209, 0.3)
    before = (blood.alveolar_mmhg, blood.venous)
    for _ in range(600):
        blood.step(0.1, 0.209, 0.3, 1.0)
    assert (blood.alveolar_mmhg, blood.venous) == pytest.approx(before, rel=1e-6)
    assert 0.14 < before[1] < 0.17  # textbook: about 150 mL/L in mixed venous blood


def test_foul_air_arrives_after_the_duct_s_volume() -> None:
    duct = GasOnTheWay(78.5, CLEAN)
    seconds = 0.0
    while duct.arriving == CLEAN:
        duct.move(170.0 / 600.0, FOUL)
        seconds += 0.1
    assert seconds == pytest.approx(27.7, abs=0.15)  # 10 m of 100 mm at 170 L/min
    duct.move(0.0, CLEAN)
    assert duct.arriving == FOUL


def test_a_slow_sensor_shows_63_percent_of_a_step_after_its_time() -> None:
    def step(at_ns: int) -> float:
        return 0.0 if at_ns == 0 else 100.0

    seldom, often = SlowSensor(step, 20.0), SlowSensor(step, 20.0)
    assert seldom.value(0) == often.value(0) == 0.0
    for second in range(1, 20):
        often.value(second * 10**9)
    assert seldom.value(20 * 10**9) == pytest.approx(63.2, abs=0.05)
    assert often.value(20 * 10**9) == pytest.approx(63.2, abs=0.05)


def test_what_ran_back_comes_again_first() -> None:
    duct = GasOnTheWay(80.0, CLEAN)
    duct.move(10.0, FOUL)
    duct.move(60.0, FOUL)
    duct.move(-30.0, FOUL)
    duct.move(39.0, FOUL)
    assert duct.arriving == CLEAN
    duct.move(2.0, FOUL)
    assert duct.arriving == FOUL
