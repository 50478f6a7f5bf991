"""Desaturations and time below 90 % against a second implementation, written apart.

Definition: AASM Manual for the Scoring of Sleep and Associated Events (2012): a drop of
3 % or more, in the alternative rule 4 %, for 10 s or longer. The reference (mean of the
last 120 good seconds, 30 at least) is the project's own choice. T90, the time below 90 %,
is a usual figure of night oximetry.

The second implementation is plain pandas and numpy on a grid of one second: a rolling
mean, and a walk over the rows. It shares no code with the one under test, which adds up stretches
between readings as they come.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from linetender.reports.session_facts import SessionFacts
from linetender.reports.session_reading import read_session
from reports.sessions_to_report import recorded, spo2


def facts_by_pandas(values: list[float | None]) -> dict[str, object]:
    """Count on a grid: row k is the second from k to k + 1; NaN where there is no reading."""
    column = pd.Series(values, dtype=float)
    good = column.dropna()
    mean = good.rolling(120, min_periods=30).mean().shift(1)
    found: dict[str, object] = {
        "good_s": float(len(good)),
        "below_90_s": float((good < 90).sum()),
        "mean": float(good.mean()),
    }
    before = mean.reindex(column.index).to_numpy()
    for points in (3, 4):
        found[f"drops_{points}"] = drops(column.to_numpy(), before, points)
    return found


def drops(
    values: np.ndarray[Any, Any], before: np.ndarray[Any, Any], points: float
) -> list[tuple[float, float]]:
    """Walk over the grid; return (start, length) of each drop of 10 s or more (s)."""
    found, start, row = [], 0, 0
    while start < len(values):
        reference = before[start] - points + 1e-9
        row = start
        while row < len(values) and values[row] <= reference:  # NaN is never
            row += 1
        if row - start >= 10:
            found.append((float(start), float(row - start)))
        start = row + 1  # what ends a drop begins none
    return found


def facts_by_us(values: list[float | None], folder: Path) -> dict[str, object]:
    facts = facts_of(values, folder)
    figures = facts.signals["spo2_percent"]
    found: dict[str, object] = {
        "good_s": figures.good_s,
        "below_90_s": figures.below_s["90"],
        "mean": figures.mean,
    }
    for depth in facts.desaturations:
        found[f"drops_{depth.points:g}"] = [(one.at_s, one.lasts_s) for one in depth.each]
        assert depth.count == len(depth.each)
    return found


def facts_of(values: list[float | None], folder: Path) -> SessionFacts:
    path = recorded(folder / "a.jsonl", spo2(enumerate(values)), until_s=len(values))
    return read_session((path,)).facts


def invented_night(seed: int, seconds: int = 5_000) -> list[float | None]:
    """Return an invented night: a wandering level, drops, lost readings."""
    chance = np.random.default_rng(seed)
    level = 96 + np.cumsum(chance.normal(0, 0.03, seconds))
    values = level + chance.normal(0, 0.5, seconds)
    for start in chance.integers(100, seconds - 100, 30):
        depth, length = chance.uniform(1.5, 12), int(chance.integers(3, 60))
        values[start : start + length] -= depth
    rounded = np.clip(np.round(values), 40, 100)
    found: list[float | None] = [float(value) for value in rounded]
    for start in chance.integers(0, seconds - 50, 15):
        for second in range(int(start), int(start + chance.integers(1, 40))):
            found[second] = None
    return found


@pytest.mark.parametrize("seed", range(6))
def test_both_find_the_same(seed: int, tmp_path: Path) -> None:
    values = invented_night(seed)
    ours, theirs = facts_by_us(values, tmp_path), facts_by_pandas(values)
    assert ours["mean"] == pytest.approx(theirs.pop("mean"), abs=0.05)
    ours.pop("mean")
    assert ours == theirs
    assert isinstance(theirs["drops_3"], list) and len(theirs["drops_3"]) > 5


# The definition itself, by hand

CALM: list[float | None] = [97.0] * 120


@pytest.mark.parametrize(
    ("what", "after", "drops_3", "drops_4"),
    [
        ("ten seconds three points down", [94.0] * 10 + [97.0] * 10, 1, 0),
        ("nine seconds are too short", [94.0] * 9 + [97.0] * 10, 0, 0),
        ("two points are too little", [95.0] * 60, 0, 0),
        ("four points count for both", [93.0] * 12 + [97.0] * 10, 1, 1),
        ("a bad reading ends one", [90.0] * 9 + [None] + [90.0] * 9 + [97.0], 0, 0),
        ("and another may follow", [90.0] * 12 + [None] + [90.0] * 12 + [97.0], 2, 2),
        ("one that lasts to the end", [90.0] * 30, 1, 1),
        ("a lasting shift is one", [92.0] * 400, 1, 1),
        ("and the normal after a pause in it", [92.0] * 200 + [None] + [92.0] * 200, 1, 1),
    ],
)
def test_the_definition(
    what: str, after: list[float | None], drops_3: int, drops_4: int, tmp_path: Path
) -> None:
    facts = facts_of(CALM + after, tmp_path)
    assert [depth.count for depth in facts.desaturations] == [drops_3, drops_4], what


def test_before_thirty_good_seconds_there_is_none(tmp_path: Path) -> None:
    facts = facts_of([97.0] * 10 + [80.0] * 19, tmp_path)
    assert facts.desaturations[0].count == 0
