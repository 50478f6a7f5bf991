"""What a station file compiles to, number by number."""

import pytest

from linetender.core.instants import SECOND_NS
from linetender.core.plan import (
    Above,
    AirPlan,
    Below,
    CheckInPlan,
    FactStale,
    FarEndPlan,
    Plan,
    RulePlan,
    Stale,
    Stuck,
)
from linetender.core.signals import Signal
from linetender.core.stages import Stage
from settings.station_texts import AIR, ANSWER, ELEMENT, HANDS, OXIMETER, STATION, WHOLE, load

FITTED = '[element]\nkind = "fitted"\nk = 20\nn = 0.5\nstandard_uncertainty_percent = 5\n'
REQUIRED = STATION + "required_airflow_l_min = 180\n"
DUCT = AIR.replace("hood_", "duct_") + HANDS


def _rule(plan: Plan, rule_id: str) -> RulePlan:
    (found,) = [rule for rule in plan.rules if rule.id == rule_id]
    return found


def _has(plan: Plan, rule_id: str) -> bool:
    return rule_id in [rule.id for rule in plan.rules]


@pytest.mark.parametrize(
    ("element", "exponent"),
    [
        ('kind = "hood_hose"\n', 0.54),
        ('kind = "orifice"\nbore_mm = 50\npipe_mm = 100\n', 0.5),
        ('kind = "pitot"\n', 0.5),
        ('kind = "duct"\n', 0.57),
        ('kind = "fitted"\nk = 20\nn = 0.61\n', 0.61),
    ],
)
def test_each_element_has_its_exponent(element: str, exponent: float, tmp_path) -> None:
    plan = load(tmp_path, STATION + f"[element]\n{element}normal_pa = 60\n" + DUCT).plan
    assert plan.air is not None
    assert plan.air.exponent == exponent


def test_65_percent_of_flow_is_45_percent_of_hose_pressure(tmp_path) -> None:
    # The project's own choice of the hose exponent; from 0.65 = 0.45^n.
    plan = load(tmp_path, WHOLE).plan
    assert plan.air is not None
    assert 0.45**plan.air.exponent == pytest.approx(0.65, abs=0.001)


def test_a_taught_line_has_a_normal_and_no_flow(tmp_path) -> None:
    plan = load(tmp_path, WHOLE).plan
    assert plan.air == AirPlan(signal=Signal.HOOD_PRESSURE_PA, normal_pa=60.0, exponent=0.54)
    assert not _has(plan, "air_low")


def test_the_hood_pressure_is_preferred_across_hose_and_hood(tmp_path) -> None:
    both = AIR + DUCT.replace("devices.air", "devices.duct").replace("0x25", "0x26")
    for element, signal in (
        (ELEMENT, Signal.HOOD_PRESSURE_PA),
        (FITTED + "normal_pa = 60\n", Signal.DUCT_PRESSURE_PA),
    ):
        plan = load(tmp_path, STATION + element + both).plan
        assert plan.air is not None
        assert plan.air.signal is signal
        assert _rule(plan, "air_stuck").condition == Stuck(signal, 30 * SECOND_NS)
        assert _rule(plan, "blind").condition == Stale(
            (Signal.DUCT_PRESSURE_PA, Signal.HOOD_PRESSURE_PA), 10 * SECOND_NS
        )


def test_the_required_airflow_is_met_by_the_reading_less_two_uncertainties(tmp_path) -> None:
    plan = load(tmp_path, REQUIRED + FITTED + "normal_pa = 300\n" + DUCT).plan
    condition = _rule(plan, "air_low").condition
    # Q - 2·0.05·Q < 180 is Q < 200; the deadband is 5 % of 180.
    assert condition == Below(Signal.AIRFLOW_L_MIN, pytest.approx(200.0), pytest.approx(9.0))
    assert plan.air is not None
    assert plan.air.required_l_min == 180.0
    assert plan.air.relative_uncertainty == 0.05


def test_more_uncertainties_are_a_tighter_limit_and_need_no_reason(tmp_path) -> None:
    change = "[rules.change.air_low]\nminus_uncertainties = 3\n"
    plan = load(tmp_path, REQUIRED + FITTED + "normal_pa = 300\n" + DUCT + change).plan
    condition = _rule(plan, "air_low").condition
    assert condition == Below(Signal.AIRFLOW_L_MIN, pytest.approx(180 / 0.85), pytest.approx(9.0))


def test_no_required_airflow_no_rule_about_it(tmp_path) -> None:
    plan = load(tmp_path, STATION + FITTED + "normal_pa = 300\n" + DUCT).plan
    assert not _has(plan, "air_low")
    assert plan.air is not None
    assert plan.air.k_l_min == 20.0


def test_a_calibrated_line_without_a_normal_takes_that_of_the_required_airflow(tmp_path) -> None:
    plan = load(tmp_path, REQUIRED + FITTED + DUCT).plan
    assert plan.air is not None
    assert plan.air.normal_pa == pytest.approx((200 / 20) ** 2)


def test_hood_pressure_is_limited_in_pascals_of_the_taught_normal(tmp_path) -> None:
    condition = _rule(load(tmp_path, WHOLE).plan, "hood_pressure_high").condition
    assert condition == Above(Signal.HOOD_PRESSURE_PA, 90.0, 6.0)


def test_a_thermal_sensor_is_corrected_for_altitude_once_it_is_given(tmp_path) -> None:
    # ISO 2533: 84 560 Pa at a geometric altitude of 1500 m; calibrated at 96 600 Pa.
    high = WHOLE.replace("exit_time_s = 7", "exit_time_s = 7\naltitude_m = 1500")
    plan = load(tmp_path, high).plan
    assert plan.air is not None
    assert plan.air.pressure_factor == pytest.approx(96_600 / 84_560, rel=1e-4)
    plain = load(tmp_path, WHOLE).plan
    assert plain.air is not None
    assert plain.air.pressure_factor == 1.0


@pytest.mark.parametrize(
    ("driver", "calibrated_pa"), [("sdp8xx", 96_600), ("d6f_ph", 101_325), ("ms4525do", None)]
)
def test_each_thermal_sensor_is_corrected_from_its_own_calibration(
    tmp_path, driver: str, calibrated_pa: int | None
) -> None:
    options = 'bus = "simulated"'
    options += ', product = "D6F-PH5050"' if driver == "d6f_ph" else ""
    air = f"""
[devices.air]
driver = "{driver}"
signals = ["hood_pressure_pa"]
options = {{ {options} }}
"""
    high = STATION.replace("exit_time_s = 7", "exit_time_s = 7\naltitude_m = 1500")
    plan = load(tmp_path, high + ELEMENT + air + HANDS).plan
    assert plan.air is not None
    expected = 1.0 if calibrated_pa is None else calibrated_pa / 84_560
    assert plan.air.pressure_factor == pytest.approx(expected, rel=1e-4)


def test_a_station_may_have_a_sign_of_life(tmp_path) -> None:
    life = """
[devices.life]
driver = "gpio_keep_alive"
output = "keep_alive"
options = { gpio = 21 }
"""
    station = load(tmp_path, WHOLE + life)
    assert [d.output for d in station.devices if d.name == "life"] == ["keep_alive"]


def test_k_is_carried_to_the_air_of_the_station(tmp_path) -> None:
    # Room air (20 °C, 50 %: vapour 1170 Pa of 2339 saturated) at 84 560 Pa as an ideal moist
    # gas; for n = 0.5 the flow goes with the root of the density ratio.
    here_kg_m3 = (84_560 - 0.378 * 1_170) / (287.05 * 293.15)
    high = REQUIRED.replace("exit_time_s = 7", "exit_time_s = 7\naltitude_m = 1500")
    plan = load(tmp_path, high + FITTED + "normal_pa = 300\n" + DUCT).plan
    assert plan.air is not None
    assert plan.air.k_l_min == pytest.approx(20 * (1.2 / here_kg_m3) ** 0.5, rel=5e-4)


def test_stale_keeps_the_signals_that_are_fitted(tmp_path) -> None:
    for devices, signals in (
        (AIR, (Signal.HOOD_PRESSURE_PA,)),
        (AIR + OXIMETER, (Signal.HOOD_PRESSURE_PA, Signal.SPO2_PERCENT)),
    ):
        plan = load(tmp_path, STATION + ELEMENT + devices + HANDS).plan
        assert _rule(plan, "blind").condition == Stale(signals, 10 * SECOND_NS)


def test_each_second_box_has_a_rule_with_the_patience_of_its_role(tmp_path) -> None:
    boxes = (
        '[[far_end]]\nname = "bench"\nrole = "wearer"\n'
        '[[far_end]]\nname = "kitchen"\nrole = "attendant"\n'
    )
    plan = load(tmp_path, WHOLE + boxes).plan
    assert plan.far_ends == (FarEndPlan("bench", "wearer"), FarEndPlan("kitchen", "attendant"))
    assert [rule.condition for rule in plan.rules if rule.id.startswith("far_end_unconfirmed")] == [
        FactStale("far_end_confirmed", "bench", 6 * SECOND_NS),
        FactStale("far_end_confirmed", "kitchen", 15 * SECOND_NS),
    ]


def test_check_in_rules_exist_only_with_check_in(tmp_path) -> None:
    assert not _has(load(tmp_path, WHOLE).plan, "check_in_missed")
    plan = load(tmp_path, WHOLE + "[check_in]\n").plan
    assert plan.check_in == CheckInPlan(20 * 60 * SECOND_NS, 30 * SECOND_NS)
    assert _has(plan, "check_in_missed_late")


def test_rules_that_are_not_there_suppress_nothing_and_none_follows_them(tmp_path) -> None:
    own = (
        "schema = 1\n"
        '[rule.low]\nsignal = "air_percent_of_baseline"\nbelow = 65\npriority = "high"\n'
        'killer = true\nloss_of_air = true\nstages = ["worn", "idle"]\nsay = "Leave."\n'
        'reason = "a test"\n'
        '[rule.fast]\nsignal = "fan_speed_rpm"\nabove = 9000\npriority = "low"\n'
        'stages = ["worn"]\nsay = "Look."\nreason = "a test"\n'
        '[rule.slow]\nsignal = "air_percent_of_baseline"\nbelow = 80\npriority = "low"\n'
        'stages = ["worn"]\nsay = "Look."\nreason = "a test"\n'
        'suppressed_by = ["fast", "low"]\n'
        '[rule.lost]\nsignal = "hood_pressure_pa"\nstale = { after_s = 9, followed = "fast" }\n'
        'priority = "low"\nstages = ["worn"]\nsay = "Look."\nreason = "a test"\n'
        '[rule.blind]\nsignals = ["hood_pressure_pa"]\nstale = { after_s = 9 }\n'
        'priority = "high"\nkiller = true\nloss_of_air = true\nstages = ["worn"]\nsay = "Leave."\n'
        'reason = "a test"\n'
        '[rule.both]\nall_of = [{ signal = "spo2_percent", below = 90, deadband = 2 }, '
        '{ contact = "answer", when = "open" }]\npriority = "low"\nstages = ["worn"]\n'
        'say = "Look."\nreason = "a test"\n'
        '[rule.either]\nany_of = [{ signal = "spo2_percent", below = 90, deadband = 2 }, '
        '{ signal = "air_pressure_pa", above = 90, deadband = 1 }]\npriority = "low"\n'
        'stages = ["worn"]\nsay = "Look."\nreason = "a test"\n'
    )
    (tmp_path / "own.toml").write_text(own)
    plan = load(tmp_path, WHOLE + '[rules]\nbase = "own.toml"\n').plan
    assert [rule.id for rule in plan.rules] == ["low", "slow", "blind", "either"]
    low = _rule(plan, "low")
    assert low.suppressed_by == ()
    assert _rule(plan, "slow").suppressed_by == ("low",)
    assert low.stages == (Stage.IDLE, Stage.WORN)
    assert _rule(plan, "either").condition.conditions == (
        Above(Signal.HOOD_PRESSURE_PA, 90.0, 1.0),
    )


def test_a_looser_change_is_carried_with_its_reason(tmp_path) -> None:
    change = '[rules.change.air_lost]\non_delay_s = 3\nreason = "long breaths"\n'
    plan = load(
        tmp_path,
        WHOLE + change + ANSWER.replace("answer", "hook").replace("17", "4").replace("27", "5"),
    ).plan
    assert _rule(plan, "air_lost").on_delay_ns == 3 * SECOND_NS
    assert plan.exceptions == ("air_lost: on_delay_s looser than the base: long breaths",)
    assert plan.contacts == ("answer", "hook")


def test_times_come_as_whole_nanoseconds(tmp_path) -> None:
    change = "[rules.change.air_lost]\non_delay_s = 1.1\n"
    assert _rule(load(tmp_path, WHOLE + change).plan, "air_lost").on_delay_ns == 1_100_000_000
