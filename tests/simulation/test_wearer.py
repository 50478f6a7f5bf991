"""The first form of the wearer: an oximeter trails, and shows a fall in the end."""

import pytest

from linetender.simulation.wearer import STEP_NS, Wearer, saturation_percent

SEA_LEVEL_PA = 101_325.0
STEPS_PER_S = 1_000_000_000 // STEP_NS


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


def test_an_oximeter_shows_nothing_while_the_air_runs_out() -> None:
    """16 s after the air stopped the hood is below 19.5 % oxygen and the display still calm."""
    wearer = worn()
    before = shown_after(120, 250.0, wearer)
    after = shown_after(16, 0.0, wearer)
    assert wearer.hood_o2_fraction < 0.195
    assert after == pytest.approx(before, abs=0.1)


def test_a_fall_follows_and_the_pulse_rises_and_good_air_restores_both() -> None:
    wearer = worn()
    calm = shown_after(120, 250.0, wearer)
    pulse = wearer.pulse_rate_bpm(0)
    low = shown_after(300, 0.0, wearer)
    assert low < 90.0
    assert wearer.pulse_rate_bpm(0) > pulse + 5.0
    wearer.hood_is_on = False
    assert shown_after(1, 0.0, wearer) == pytest.approx(low, abs=0.3)  # the lag again
    assert shown_after(300, 0.0, wearer) == pytest.approx(calm, abs=0.5)


@pytest.mark.parametrize(
    ("oxygen_mmhg", "percent"),
    [(26.9, 50.0), (50.0, 85.08), (60.0, 90.85), (80.0, 95.84), (90.0, 96.88), (100.0, 97.49)],
)
def test_dissociation_curve(oxygen_mmhg: float, percent: float) -> None:
    """Severinghaus 1979, J Appl Physiol 46: his table, which the equation fits to 0.55 points."""
    assert saturation_percent(oxygen_mmhg) == pytest.approx(percent, abs=0.55)


def test_no_oxygen_no_saturation() -> None:
    assert saturation_percent(0.0) == 0.0
