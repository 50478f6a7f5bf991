"""The balance of one gas in a hood: invariants and refusals."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linetender.airline import hood

BALANCE = {
    "initial_fraction": 0.001,
    "source_l_min": 0.5,
    "airflow_l_min": 170.0,
    "volume_l": 8.0,
    "intake_fraction": 420e-6,
}


@given(
    airflow=st.floats(0.0, 500.0),
    source=st.floats(0.05, 3.0),
    volume=st.floats(2.0, 40.0),
    limit=st.floats(0.001, 0.05),
)
def test_the_limit_is_met_at_the_time_told(
    airflow: float, source: float, volume: float, limit: float
) -> None:
    rest = {
        "initial_fraction": 420e-6,
        "source_l_min": source,
        "airflow_l_min": airflow,
        "volume_l": volume,
        "intake_fraction": 420e-6,
    }
    seconds = hood.seconds_to(limit, **rest)
    if math.isinf(seconds):
        assert hood.steady_fraction(source, airflow, 420e-6) <= limit * (1 + 1e-9)
    else:
        assert hood.fraction_after(seconds, **rest) == pytest.approx(limit, rel=1e-6)


def test_oxygen_runs_short_in_flow_too() -> None:
    """With 2 L/min of air for 0.35 L/min of oxygen, 19.5 % is passed on the way down."""
    uptake = hood.oxygen_uptake_l_min(0.30)
    rest = {
        "initial_fraction": 0.209,
        "source_l_min": -uptake,
        "airflow_l_min": 2.0,
        "volume_l": 8.0,
        "intake_fraction": 0.209,
    }
    seconds = hood.seconds_to(0.195, **rest)
    assert seconds > 60.0 * 8.0 * 0.014 / uptake  # later than without any air
    assert hood.fraction_after(seconds, **rest) == pytest.approx(0.195)


@pytest.mark.parametrize(
    ("limit", "change", "expected"),
    [
        (0.0005, {}, 0.0),  # passed already
        (0.05, {}, math.inf),  # never in this flow
        (0.02, {"initial_fraction": 420e-6 + 0.5 / 170.0}, math.inf),  # at the steady state
        (0.195, {"source_l_min": -0.5, "initial_fraction": 0.19}, 0.0),
    ],
)
def test_now_or_never(limit: float, change: dict[str, float], expected: float) -> None:
    assert hood.seconds_to(limit, **{**BALANCE, **change}) == expected


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"volume_l": 0.0}, "hood volume"),
        ({"airflow_l_min": -1.0}, "airflow"),
        ({"airflow_l_min": math.nan}, "airflow"),
        ({"source_l_min": 0.0}, "source of 0"),
    ],
)
def test_refused(change: dict[str, float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        hood.seconds_to(0.03, **{**BALANCE, **change})


def test_no_steady_state_without_flow() -> None:
    with pytest.raises(ValueError, match="no steady state"):
        hood.steady_fraction(0.3, 0.0, 420e-6)


@given(
    seconds=st.floats(0.0, 300.0),
    tau=st.floats(0.1, 20.0),
    airflow=st.floats(1.0, 500.0),
    source=st.floats(0.05, 3.0),
)
def test_coasting_lies_between_full_flow_and_none(
    seconds: float, tau: float, airflow: float, source: float
) -> None:
    rest = {
        "initial_fraction": hood.steady_fraction(source, airflow, 420e-6),
        "source_l_min": source,
        "volume_l": 8.0,
        "intake_fraction": 420e-6,
    }
    coasting = hood.fraction_while_coasting(seconds, airflow_l_min=airflow, tau_s=tau, **rest)
    sealed = hood.fraction_after(seconds, airflow_l_min=0.0, **rest)
    in_flow = hood.fraction_after(seconds, airflow_l_min=airflow, **rest)
    assert in_flow * (1 - 1e-9) <= coasting <= sealed * (1 + 1e-9)


def test_a_leak_that_is_large_enough_keeps_the_limit_away() -> None:
    assert hood.WornHood(15.0, 0.30, 10.0).seconds_to_co2(0.04, 170.0) == math.inf
    assert hood.WornHood(15.0, 0.30, 30.0).seconds_to_o2(0.195, 170.0) == math.inf
    assert hood.WornHood(15.0, 0.30).seconds_to_o2(0.195, 170.0) < 36.0


@given(volume=st.floats(2.0, 40.0), co2=st.floats(0.1, 2.0), leakage=st.floats(0.0, 50.0))
def test_the_worn_hood_meets_its_limits(volume: float, co2: float, leakage: float) -> None:
    worn = hood.WornHood(volume, co2, leakage)
    to_co2, to_o2 = worn.seconds_to_co2(0.03, 170.0), worn.seconds_to_o2(0.18, 170.0)
    if 0.0 < to_co2 < math.inf:
        assert worn.after_stop(to_co2, 170.0).co2_fraction == pytest.approx(0.03)
    if 0.0 < to_o2 < math.inf:
        assert worn.after_stop(to_o2, 170.0).o2_fraction == pytest.approx(0.18)


@pytest.mark.parametrize(
    ("volume", "co2", "leakage", "message"),
    [
        (0.0, 0.3, 0.0, "hood volume"),
        (8.0, 0.0, 0.0, "CO2 output"),
        (8.0, 0.3, -1.0, "leakage"),
        (8.0, math.nan, 0.0, "CO2 output"),
    ],
)
def test_worn_hood_refused(volume: float, co2: float, leakage: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        hood.WornHood(volume, co2, leakage)


@pytest.mark.parametrize(
    ("seconds", "tau", "message"), [(-1.0, 3.0, "time"), (1.0, 0.0, "coast-down time")]
)
def test_coasting_refused(seconds: float, tau: float, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        hood.fraction_while_coasting(seconds, tau_s=tau, **BALANCE)
