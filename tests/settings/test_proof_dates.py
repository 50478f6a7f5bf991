"""Until when a proof test is good, and the walk that counts."""

import pytest

from linetender.core.proof import ProofKind, ProofStep
from linetender.settings.proof_dates import ProofDates, ProofSeen, proof_dates, walked_s

FAN, PINCHED, OFF_HOOD = ProofKind.FAN_PLUG, ProofKind.DUCT_PINCHED, ProofKind.DUCT_OFF_AT_HOOD
WALK = ProofStep(ProofKind.WALK)
STEPS = (ProofStep(FAN, "air_lost", 2.0), ProofStep(PINCHED, "air_lost", 2.0), WALK)


def seen(day: int, step: ProofKind, result: str, seconds: float | None = None) -> ProofSeen:
    return ProofSeen(f"2026-03-{day:02}T10:00:00+00:00", step.value, result, seconds)


@pytest.mark.parametrize(
    ("kept", "expected"),
    [
        pytest.param([], ProofDates(missing=(FAN, PINCHED, "walk")), id="never done"),
        pytest.param(
            [seen(1, FAN, "passed"), seen(3, PINCHED, "skipped"), seen(9, FAN, "passed")],
            ProofDates("2026-03-13T10:00:00+00:00", (), ("walk",)),
            id="the oldest step sets the date",
        ),
        pytest.param(
            [seen(1, FAN, "passed"), seen(3, FAN, "failed"), seen(4, OFF_HOOD, "failed")],
            ProofDates("2026-03-03T10:00:00+00:00", (FAN,), (PINCHED, "walk")),
            id="what failed is due; what is not fitted any more does not count",
        ),
        pytest.param(
            [seen(1, FAN, "passed"), seen(3, FAN, "pending")],
            ProofDates("2026-03-11T10:00:00+00:00", (), (PINCHED, "walk")),
            id="what is pending says nothing yet",
        ),
    ],
)
def test_dates(kept: list[ProofSeen], expected: ProofDates) -> None:
    assert proof_dates(STEPS, kept, 10.0) == expected


def test_the_last_walk_counts() -> None:
    assert walked_s([]) is None
    walks = [seen(1, ProofKind.WALK, "passed", 9.0), seen(2, ProofKind.WALK, "failed", 30.0)]
    assert walked_s(walks) == 30.0
