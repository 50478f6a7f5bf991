"""Fitting k and n to flow points: what is found, what is refused, and why."""

import math
import random
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linetender.airline.calibration_fit import CannotFit, Fit, FlowPoint, fit_points

K, N = 27.0, 0.54
RANDOM = 0.02


def exact(*pressures_pa: float, k: float = K, n: float = N) -> list[FlowPoint]:
    """Return points that lie on Q = k·Δp^n."""
    return [FlowPoint(p, 0.0, k * p**n, RANDOM) for p in pressures_pa]


def noisy(
    seed: int, settings: Sequence[float], repeats: int, scatter: float = RANDOM
) -> list[FlowPoint]:
    drawn = random.Random(seed)
    return [
        FlowPoint(p, 0.0, K * p**N * math.exp(drawn.gauss(0.0, scatter)), RANDOM)
        for p in settings
        for _ in range(repeats)
    ]


def test_exact_points_give_back_their_line() -> None:
    fit = fit_points(exact(12.0, 20.0, 35.0, 60.0))
    assert (fit.k_l_min, fit.exponent) == (pytest.approx(K, rel=1e-9), pytest.approx(N, rel=1e-9))
    assert fit.residuals == pytest.approx([0.0] * 4, abs=1e-12)
    assert (fit.widening, fit.least_pa, fit.greatest_pa) == (1.0, 12.0, 60.0)


def test_the_order_of_the_points_does_not_matter() -> None:
    points = noisy(3, (12.0, 25.0, 60.0), 3)
    forth, back = fit_points(points), fit_points(points[::-1])
    assert forth.exponent == pytest.approx(back.exponent, rel=1e-12)
    assert forth.covariance == pytest.approx(back.covariance, rel=1e-9)
    assert forth.residuals == pytest.approx(back.residuals[::-1], abs=1e-12)


@pytest.mark.parametrize(
    ("points", "reasons"),
    [
        ([], ["There is no flow point"]),
        (exact(60.0), ["1 point is too few", "1 setting of the line"]),
        (exact(60.0, 60.0), ["2 points are too few", "1 setting of the line (60, 60 Pa)"]),
        (exact(60.0, 60.0, 60.0, 60.0), ["1 setting of the line"]),
        (exact(30.0, 30.0, 60.0, 60.0), ["2 settings of the line"]),
        (exact(40.0, 46.0, 52.0, 60.0), ["40 to 60 Pa is a factor of 1.50"]),
        (exact(10.0, 20.0, 40.0, 80.0, n=0.3), ["exponent comes out as 0.30"]),
        (exact(10.0, 20.0, 40.0, 80.0, n=1.4), ["exponent comes out as 1.40"]),
    ],
    ids=[
        "none",
        "one",
        "two identical",
        "one setting",
        "two settings",
        "narrow",
        "low n",
        "high n",
    ],
)
def test_points_that_determine_nothing_are_refused(
    points: list[FlowPoint], reasons: list[str]
) -> None:
    with pytest.raises(CannotFit) as refused:
        fit_points(points)
    assert len(refused.value.reasons) == len(reasons)
    for said, expected in zip(refused.value.reasons, reasons, strict=True):
        assert expected in said
    assert refused.value.outlier is None


@given(
    seed=st.integers(0, 10_000),
    place=st.integers(0, 8),
    factor=st.sampled_from([0.1, 10.0]),
)
def test_a_time_ten_times_too_long_or_short_is_named(seed: int, place: int, factor: float) -> None:
    points = noisy(seed, (12.0, 27.0, 60.0), 3)
    wrong = points[place]
    points[place] = FlowPoint(wrong.differential_pa, 0.0, wrong.airflow_l_min * factor, RANDOM)
    with pytest.raises(CannotFit) as refused:
        fit_points(points)
    (reason,) = refused.value.reasons
    assert refused.value.outlier == place
    assert f"Point {place + 1} (" in reason
    assert "mistyped" in reason


def test_a_typo_among_the_fewest_points_is_refused_too() -> None:
    points = exact(12.0, 20.0, 35.0, 60.0)
    points[1] = FlowPoint(20.0, 0.0, points[1].airflow_l_min / 10.0, RANDOM)
    with pytest.raises(CannotFit) as refused:
        fit_points(points)
    assert refused.value.outlier == 1


def test_carelessness_widens_the_uncertainty_instead() -> None:
    careful = fit_points(noisy(5, (12.0, 20.0, 35.0, 60.0), 4))
    careless = fit_points(noisy(5, (12.0, 20.0, 35.0, 60.0), 4, scatter=0.05))
    assert careful.widening == 1.0
    assert careless.widening > 1.5
    assert careless.covariance.exponent > 2.0 * careful.covariance.exponent


def test_points_that_scatter_too_much_for_any_use_are_refused() -> None:
    points = [FlowPoint(p, 0.0, K * p**N, 0.2) for p in (12.0, 20.0, 35.0, 60.0)]
    with pytest.raises(CannotFit, match=r"uncertain by 1\d %"):
        fit_points(points)


def test_an_exponent_just_below_the_possible_is_taken_to_its_bound() -> None:
    points = exact(12.0, 20.0, 35.0, 60.0, n=0.49)
    fit = fit_points(points)
    assert fit.exponent == 0.5
    middle_pa = math.sqrt(12.0 * 60.0)
    assert predicted(fit, middle_pa) == pytest.approx(K * middle_pa**0.49, rel=0.01)


def predicted(fit: Fit, pressure_pa: float) -> float:
    return fit.k_l_min * float(pressure_pa**fit.exponent)


def test_restless_pressures_count_by_the_exponent() -> None:
    quiet, restless = FlowPoint(60.0, 0.0, 250.0, 0.02), FlowPoint(60.0, 3.0, 250.0, 0.02)
    assert quiet.variance(0.5) == pytest.approx(0.0004)
    assert restless.variance(0.5) == pytest.approx(0.0004 + (0.5 * 0.05) ** 2)


@pytest.mark.parametrize(
    "bad",
    [
        (0.0, 0.0, 250.0, 0.02),
        (-5.0, 0.0, 250.0, 0.02),
        (60.0, -1.0, 250.0, 0.02),
        (60.0, 0.0, 0.0, 0.02),
        (60.0, 0.0, 250.0, 0.0),
        (math.nan, 0.0, 250.0, 0.02),
        (60.0, 0.0, math.inf, 0.02),
    ],
)
def test_impossible_points_cannot_be_made(bad: tuple[float, float, float, float]) -> None:
    with pytest.raises(ValueError, match=r"flow point|uncertainty"):
        FlowPoint(*bad)
