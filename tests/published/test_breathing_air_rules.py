"""Rules and physiology of breathing air, and what follows from them.

42 CFR 84 (subpart J table 8, 84.144, 84.162); Persily and de Jonge 2017, table 4 (PMC5666301);
Grade D and CO2 limits: 29 CFR 1910.134(i), NIOSH (cdc.gov/niosh/idlh/124389.html).
"""

import pytest

from linetender.airline import breathing_air
from linetender.airline.hood import steady_fraction
from linetender.airline.trade_units import L_MIN_PER_CFM

LEVELS = [
    (1.0, 0.0037, 0.24),
    (1.2, 0.0046, 0.30),
    (1.4, 0.0053, 0.34),
    (2.0, 0.0076, 0.49),
    (3.0, 0.0114, 0.73),
    (4.0, 0.0152, 0.98),
]


@pytest.mark.parametrize(("met", "l_s_at_0_c", "l_min_at_20_c"), LEVELS)
def test_co2_output(met: float, l_s_at_0_c: float, l_min_at_20_c: float) -> None:
    assert breathing_air.co2_output_l_min(met, 0.0) == pytest.approx(l_s_at_0_c * 60.0)
    assert breathing_air.co2_output_l_min(met) == pytest.approx(l_min_at_20_c, abs=5.1e-3)


def test_co2_output_between_levels() -> None:
    assert breathing_air.co2_output_l_min(2.5, 0.0) == pytest.approx(0.0095 * 60.0)


@pytest.mark.parametrize("met", [0.9, 4.1, float("nan")])
def test_co2_output_outside_the_table(met: float) -> None:
    with pytest.raises(ValueError, match="outside 1 to 4"):
        breathing_air.co2_output_l_min(met)


@pytest.mark.parametrize(("minute_volume", "peak"), [(54.0, 170.0), (135.0, 425.0)])
def test_peak_inspiration(minute_volume: float, peak: float) -> None:
    assert breathing_air.peak_inspiration_l_min(minute_volume) == pytest.approx(peak, abs=1.0)


def test_airflows_are_round_in_cfm() -> None:
    """4, 6 and 15 cfm in the rules' origin."""
    flows = (
        breathing_air.LEAST_TIGHT_FITTING_L_MIN,
        breathing_air.LEAST_LOOSE_FITTING_L_MIN,
        breathing_air.GREATEST_L_MIN,
    )
    assert flows == (115.0, 170.0, 425.0)
    assert [flow / L_MIN_PER_CFM for flow in flows] == pytest.approx((4, 6, 15), rel=0.016)


def test_limits_of_gases() -> None:
    assert (breathing_air.LEAST_O2_FRACTION, breathing_air.GREATEST_O2_FRACTION) == (0.195, 0.235)
    ppm = [
        fraction * 1e6
        for fraction in (
            breathing_air.GREATEST_CO_FRACTION,
            breathing_air.GRADE_D_CO2_FRACTION,
            breathing_air.CO2_EIGHT_HOURS_FRACTION,
            breathing_air.CO2_SHORT_TERM_FRACTION,
            breathing_air.CO2_DANGER_FRACTION,
        )
    ]
    assert ppm == pytest.approx([10, 1000, 5000, 30_000, 40_000])


def test_least_loose_airflow_keeps_inhaled_co2_under_the_old_mean() -> None:
    """3 met at 170 L/min: 4714 ppm, under the 1 % of 30 CFR 11.4 (1959)."""
    fraction = steady_fraction(0.73, breathing_air.LEAST_LOOSE_FITTING_L_MIN, 420e-6)
    assert fraction * 1e6 == pytest.approx(4714, abs=0.6)
    assert fraction < breathing_air.INHALED_CO2_MEAN_FRACTION


def test_other_limits_of_the_rules() -> None:
    """42 CFR 84.144 and 84.140; 29 CFR 1910.134(i)(1)(ii); 30 CFR 11.4 of 1959."""
    assert breathing_air.HAND_BLOWER_L_MIN == 50.0
    assert breathing_air.GREATEST_NOISE_DBA == 80.0
    assert breathing_air.GRADE_D_OIL_MG_M3 == 5.0
    inhaled_percent = [
        100.0 * fraction
        for fraction in (
            breathing_air.INHALED_CO2_GREATEST_FRACTION,
            breathing_air.INHALED_CO2_MEAN_FRACTION,
            breathing_air.INHALED_CO2_AT_FACE_FRACTION,
        )
    ]
    assert inhaled_percent == pytest.approx([2.5, 1.0, 2.0])
