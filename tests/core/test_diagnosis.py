"""What else is named beside a cause: what the evidence does not rule out, each thing once."""

from itertools import combinations

import pytest

from linetender.core.air_evidence import AirEvidence
from linetender.core.air_pattern import Pattern
from linetender.core.cause import HELD, Cause, tells_again
from linetender.core.cause_table import FAN, WEARER, Pace, Sign
from linetender.core.diagnosis import of_air
from linetender.core.plan import AirPlan, Arrangement
from linetender.core.signals import Signal


class Seen(AirEvidence):
    """Evidence that is as it is told to be."""

    def __init__(self, pace: Pace, level: float, signs: tuple[Sign, ...]) -> None:
        self._pattern = Pattern(pace, level)
        self._signs = {sign: f"{sign.value}=yes" for sign in signs}

    def pattern(self) -> Pattern | None:
        """Return how the air went."""
        return self._pattern

    def signs(self, pattern: Pattern) -> dict[Sign, str]:
        """Return what other sources say."""
        return self._signs


ALSO = [
    # Side, pace, level, signs, what was taught: the cause, and what it may be besides.
    (WEARER, Pace.SUDDEN, 1.0, (), {"duct_off_percent": 4.0}, [Cause.DUCT_OR_TAP_TUBE_OFF]),
    (
        WEARER,
        Pace.SUDDEN,
        1.0,
        (),
        {"pinched_percent": 4.0},
        [Cause.DUCT_OR_TAP_TUBE_OFF, Cause.LINE_BLOCKED],
    ),
    (FAN, Pace.SUDDEN, 1.0, (), {"pinched_percent": 4.0}, [Cause.SHUT_OR_TAP_TUBE_OFF]),
    (
        FAN,
        Pace.SUDDEN,
        1.0,
        (),
        {"duct_off_percent": 4.0},
        [Cause.SHUT_OR_TAP_TUBE_OFF, Cause.DUCT_OFF_DOWNSTREAM],
    ),
    # Two further ones of which one holds the other.
    (
        WEARER,
        Pace.SUDDEN,
        5.0,
        (Sign.BREATH,),
        {"duct_off_percent": 6.0},
        [Cause.LINE_BLOCKED, Cause.DUCT_OR_TAP_TUBE_OFF],
    ),
    # Its speed is kept: the fan is not slow, and the filter was named.
    (WEARER, Pace.SLOW, 70.0, (Sign.SPEED_KEPT,), {}, [Cause.FILTER_LOADED]),
]


@pytest.mark.parametrize(("side", "pace", "level", "signs", "taught", "causes"), ALSO)
def test_what_one_name_holds_is_not_told_once_more(
    side: Arrangement,
    pace: Pace,
    level: float,
    signs: tuple[Sign, ...],
    taught: dict[str, float],
    causes: list[Cause],
) -> None:
    air = AirPlan(Signal.HOOD_PRESSURE_PA, 60.0, 0.5, **taught)
    found = of_air(Seen(pace, level, signs), side, air)
    assert [found.cause, *found.also] == causes


@pytest.mark.parametrize("side", [FAN, WEARER])
@pytest.mark.parametrize("pace", list(Pace))
def test_whatever_is_seen_no_two_names_tell_the_same(pace: Pace, side: Arrangement) -> None:
    signs = [signs for n in range(3) for signs in combinations(Sign, n)]
    for level in (0.0, 3.0, 8.0, 30.0, 60.0, 90.0, 130.0):
        air = AirPlan(
            Signal.HOOD_PRESSURE_PA, 60.0, 0.5, duct_off_percent=level, pinched_percent=level
        )
        for seen in signs:
            found = of_air(Seen(pace, level, seen), side, air)
            told = [found.cause, *found.also]
            for place, cause in enumerate(told):
                assert not tells_again(cause, told[:place]), told


@pytest.mark.parametrize("one", HELD)
def test_a_name_for_several_tells_each_again_and_each_it(one: Cause) -> None:
    for other in HELD[one]:
        assert tells_again(other, [one]) and tells_again(one, [other])
    assert not tells_again(one, [Cause.FAN_STOPPED])
