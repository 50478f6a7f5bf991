"""Linear regression that a few wild points do not pull away, and where its line meets a limit.

Huber's M-estimate: points within 1.345 scales count in full, those beyond by less the
farther they lie. Scale is the median absolute residual over 0.6745, estimated anew in each
step; the covariance is Huber's first proposal.

Source:
    P. J. Huber, Robust Statistics, Wiley 1981, sections 7.6 to 7.8.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from operator import mul
from statistics import NormalDist, median
from typing import NamedTuple

Vector = tuple[float, ...]

TUNING = 1.345
"""Huber's constant: 95 % as efficient as least squares where all points are good."""

_MAD_OF_NORMAL = 0.6744897501960817
_MOST_STEPS = 50
_CLOSE_ENOUGH = 1e-6


class CannotSolve(ValueError):
    """The points do not determine the coefficients."""


@dataclass(frozen=True, slots=True)
class RobustFit:
    """A fitted line, plane, and so on.

    Attributes:
        coefficients: One for each column.
        covariance: Of the coefficients.
        scale: Standard deviation of the good points about it, in the unit of the response.
        freedom: Points less coefficients.
        weights: Of each point (0 to 1, 1 counts in full).
    """

    coefficients: Vector
    covariance: tuple[Vector, ...]
    scale: float
    freedom: int
    weights: Vector


class Crossing(NamedTuple):
    """Where a fitted line meets its limit.

    Attributes:
        at: The likely place; None where the line does not go towards its limit.
        low: Lower end of the interval; None where nothing bounds it.
        high: Upper end; None where the line may just as well never get there.
    """

    at: float | None
    low: float | None
    high: float | None


def fit_robustly(
    rows: Sequence[Vector], responses: Sequence[float], begin: Vector | None = None
) -> RobustFit:
    """Fit responses by the columns of rows.

    Args:
        rows: One for each point, all of one length.
        responses: What was measured at each.
        begin: Weights to begin with, of a fit that was much the same.

    Raises:
        CannotSolve: There are no more points than columns, or columns depend on each other.
    """
    columns, freedom = len(rows[0]) if rows else 0, len(rows) - (len(rows[0]) if rows else 0)
    if freedom < 1:
        raise CannotSolve(f"{len(rows)} points do not determine {columns} coefficients")
    weights = begin or (1.0,) * len(rows)
    found = _weighted(rows, responses, weights)
    scale = _scale(_residuals(rows, responses, found))
    for _ in range(_MOST_STEPS):
        residuals = _residuals(rows, responses, found)
        scale = _scale(residuals)
        if scale <= _CLOSE_ENOUGH * max(map(abs, responses)):
            break
        weights = tuple(min(1.0, TUNING * scale / abs(r)) if r else 1.0 for r in residuals)
        before, found = found, _weighted(rows, responses, weights)
        if all(
            abs(new - old) <= _CLOSE_ENOUGH * max(1.0, abs(old))
            for new, old in zip(found, before, strict=True)
        ):
            break
    residuals = _residuals(rows, responses, found)
    scale = _scale(residuals)
    return RobustFit(found, _covariance(rows, residuals, scale, freedom), scale, freedom, weights)


def crossing(
    fit: RobustFit, base: Vector, step: Vector, target: float, confidence: float = 0.90
) -> Crossing:
    """Return the x at which the fitted base·β + x·step·β reaches a target, with its interval.

    Fieller's interval: all x at which the line is not told apart from the target. It is
    exact where the errors are normal; unlike the estimate plus and minus its uncertainty
    it has no upper end where the slope is not told apart from none.

    Args:
        fit: The fit.
        base: What each coefficient counts at x = 0.
        step: And for each 1 of x.
        target: The response to be reached from below.
        confidence: Probability that the interval holds the true x (0 to 1).

    Source:
        E. C. Fieller, J. R. Statist. Soc. B 16 (1954) 175.
    """
    times = student_t(0.5 + confidence / 2.0, fit.freedom) ** 2
    slope = _dot(step, fit.coefficients)
    start = _dot(base, fit.coefficients) - target
    square = slope**2 - times * _form(step, fit.covariance, step)
    half = slope * start - times * _form(base, fit.covariance, step)
    rest = start**2 - times * _form(base, fit.covariance, base)
    at = -start / slope if slope > 0.0 else None
    under_root = half * half - square * rest
    if under_root < 0.0 or square == 0.0:
        return Crossing(at, None, None)
    ends = sorted((-half + sign * math.sqrt(under_root)) / square for sign in (-1.0, 1.0))
    if square > 0.0 and slope > 0.0:
        return Crossing(at, ends[0], ends[1])
    if square < 0.0:
        # All x but those between the ends: what lies ahead begins at the greater one.
        return Crossing(at, ends[1], None)
    return Crossing(None, None, None)


def student_t(probability: float, freedom: int) -> float:
    """Return Student's t below which lies a probability (1), within 0.3 % from 3 degrees on.

    Args:
        probability: Above 0.5 and below 1.
        freedom: Degrees of freedom (1, >= 1).

    Raises:
        ValueError: Either is outside its range.

    Source:
        M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions, 26.7.5; exact
        for 1 and 2 degrees.
    """
    if not 0.5 < probability < 1.0 or freedom < 1:
        raise ValueError(f"no t for a probability of {probability} and {freedom} degrees")
    if freedom == 1:
        return math.tan(math.pi * (probability - 0.5))
    if freedom == 2:
        way = 2.0 * probability - 1.0
        return way * math.sqrt(2.0 / (1.0 - way * way))
    z = NormalDist().inv_cdf(probability)
    terms = (
        (z**3 + z) / 4.0,
        (5.0 * z**5 + 16.0 * z**3 + 3.0 * z) / 96.0,
        (3.0 * z**7 + 19.0 * z**5 + 17.0 * z**3 - 15.0 * z) / 384.0,
        (79.0 * z**9 + 776.0 * z**7 + 1482.0 * z**5 - 1920.0 * z**3 - 945.0 * z) / 92160.0,
    )
    return z + sum(term / float(freedom**power) for power, term in enumerate(terms, start=1))


def _covariance(
    rows: Sequence[Vector], residuals: Vector, scale: float, freedom: int
) -> tuple[Vector, ...]:
    """Huber's first proposal (7.6.5 there)."""
    count, columns = len(rows), len(rows[0])
    if scale == 0.0:
        return ((0.0,) * columns,) * columns
    inside = [abs(residual) <= TUNING * scale for residual in residuals]
    kept = sum(inside) / count
    if kept == 0.0:
        raise CannotSolve("every point is a wild one")
    squares = sum(min(abs(residual), TUNING * scale) ** 2 for residual in residuals)
    correction = 1.0 + columns / count * (1.0 - kept) / kept
    factor = correction**2 * squares / freedom / kept**2
    inverse = _inverse(_normal_matrix(rows, (1.0,) * count))
    return tuple(tuple(factor * each for each in row) for row in inverse)


def _weighted(rows: Sequence[Vector], responses: Sequence[float], weights: Vector) -> Vector:
    weighted = list(map(mul, weights, responses))
    right = [sum(map(mul, column, weighted)) for column in zip(*rows, strict=True)]
    return tuple(_dot(row, right) for row in _inverse(_normal_matrix(rows, weights)))


def _normal_matrix(rows: Sequence[Vector], weights: Vector) -> list[list[float]]:
    columns = list(zip(*rows, strict=True))
    matrix = [[0.0] * len(columns) for _ in columns]
    for i, column in enumerate(columns):
        weighted = list(map(mul, weights, column))
        for j in range(i, len(columns)):
            matrix[i][j] = matrix[j][i] = sum(map(mul, weighted, columns[j]))
    return matrix


def _inverse(matrix: list[list[float]]) -> list[list[float]]:
    """Invert a small symmetric matrix by Gauss and Jordan, its columns scaled to 1."""
    count = len(matrix)
    sizes = [math.sqrt(matrix[i][i]) for i in range(count)]
    if min(sizes) <= 0.0:
        raise CannotSolve("a column is empty")
    work = [
        [matrix[i][j] / (sizes[i] * sizes[j]) for j in range(count)]
        + [float(i == j) for j in range(count)]
        for i in range(count)
    ]
    for place in range(count):
        pivot = max(range(place, count), key=lambda row: abs(work[row][place]))
        if abs(work[pivot][place]) < 1e-12:
            raise CannotSolve("the columns depend on each other")
        work[place], work[pivot] = work[pivot], work[place]
        work[place] = [each / work[place][place] for each in work[place]]
        for row in range(count):
            if row != place:
                factor = work[row][place]
                work[row] = [a - factor * b for a, b in zip(work[row], work[place], strict=True)]
    return [
        [work[i][count + j] / (sizes[i] * sizes[j]) for j in range(count)] for i in range(count)
    ]


def _residuals(rows: Sequence[Vector], responses: Sequence[float], found: Vector) -> Vector:
    return tuple(y - _dot(row, found) for row, y in zip(rows, responses, strict=True))


def _scale(residuals: Vector) -> float:
    return median(map(abs, residuals)) / _MAD_OF_NORMAL


def _form(left: Vector, matrix: tuple[Vector, ...], right: Vector) -> float:
    return sum(a * _dot(row, right) for a, row in zip(left, matrix, strict=True))


def _dot(left: Sequence[float], right: Sequence[float]) -> float:
    return math.fsum(map(mul, left, right))
