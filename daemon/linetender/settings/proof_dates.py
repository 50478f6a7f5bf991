"""Until when a proof test is good, by what its steps came to."""

from collections.abc import Iterable
from datetime import datetime, timedelta

import msgspec

from linetender.core.proof import ProofKind, ProofResult, ProofStep


class ProofSeen(msgspec.Struct, frozen=True):
    """What a step came to: when (ISO 8601 with offset), which step, result, seconds."""

    ended_at: str
    step: str
    result: str
    seconds: float | None = None


class ProofDates(msgspec.Struct, frozen=True):
    """How a station's proof test stands.

    Attributes:
        due: Until when it is good (ISO 8601); empty where no step was ever done.
        failed: Steps that failed when they were done last.
        missing: Steps that were never done.
    """

    due: str = ""
    failed: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()


def proof_dates(
    steps: Iterable[ProofStep], seen: Iterable[ProofSeen], every_days: float
) -> ProofDates:
    """Return how the proof test stands.

    A step is good for the interval from when it passed, or was skipped with a reason.
    One that failed is due from then on. Steps that were never done are named and set no
    date: whoever has begun is not worse off than who never did.

    Args:
        steps: Of the station; what was done with parts that are gone does not count.
        seen: Oldest first.
        every_days: The interval.
    """
    last = {one.step: one for one in seen if one.result != ProofResult.PENDING}
    names = [step.kind.value for step in steps]
    dates, failed = [], []
    for name in names:
        if (one := last.get(name)) is None:
            continue
        done = datetime.fromisoformat(one.ended_at)
        if one.result == ProofResult.FAILED:
            failed.append(name)
            dates.append(done)
        else:
            dates.append(done + timedelta(days=every_days))
    due = min(dates).isoformat(timespec="seconds") if dates else ""
    return ProofDates(due, tuple(failed), tuple(name for name in names if name not in last))


def walked_s(seen: Iterable[ProofSeen]) -> float | None:
    """Return how long the last walk to the way out took (s), or None."""
    walks = [one.seconds for one in seen if one.step == ProofKind.WALK and one.seconds is not None]
    return walks[-1] if walks else None
