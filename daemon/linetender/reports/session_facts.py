"""The facts of one session, as `linetender report --json` prints them.

Times (`…_s`) count from the beginning of the session, durations are in seconds. Fields
are added as the tool grows; their meaning does not change.
"""

from typing import Any

import msgspec


class AtTime(msgspec.Struct, frozen=True):
    """A value (in its signal's unit) and when it stood."""

    value: float
    at_s: float


class SignalFigures(msgspec.Struct, frozen=True, kw_only=True):
    """One signal over the time that was looked at.

    Attributes:
        of_s: Length of that time (s).
        good_s: Time in it with a good reading (s).
        coverage: `good_s` over `of_s` (0 to 1).
        mean: Over the good time, in the signal's unit.
        lowest: Lowest good reading.
        highest: Highest.
        below_s: Time under each limit (s); the limit is the key.
        not_good: Number of readings that were bad or doubtful, by their reason.
    """

    of_s: float
    good_s: float
    coverage: float
    mean: float | None
    lowest: AtTime | None
    highest: AtTime | None
    below_s: dict[str, float]
    not_good: dict[str, int]


class Desaturation(msgspec.Struct, frozen=True):
    """One drop of the blood oxygen."""

    at_s: float
    lasts_s: float
    reference_percent: float
    lowest_percent: float


class Desaturations(msgspec.Struct, frozen=True, kw_only=True):
    """All drops of one depth (percentage points); `per_hour` of good readings."""

    points: float
    count: int
    per_hour: float | None
    each: tuple[Desaturation, ...]


class Episode(msgspec.Struct, frozen=True, kw_only=True):
    """One alarm from its raise to its end.

    Attributes:
        number: As on the page, counted from 1.
        n: Number of the transition that raised it, within its run.
        rule: Id of the rule.
        priority: The highest that it had.
        at_s: When it was raised.
        say: Its sentence for people.
        evidence: The value that decided, with `evidence_unit`; None where there is none.
        evidence_unit: Unit of that value.
        leave_s: From when on it told to leave, or None if it never did.
        cause: What probably happened, or empty.
        do: The one thing to do about that, or empty.
        causes: All causes named in turn, the last being `cause`.
        answered_s: When it was first answered, or None.
        answered_by: Who answered.
        over_s: When it was over, or None if it never was.
        over_why: What ended it, in a word, where that is known.
        is_false: The wearer marked it as false.
        proof: The step of a proof test that went on when it was raised, or empty.
    """

    number: int
    n: int
    rule: str
    priority: str
    at_s: float
    say: str
    evidence: float | None = None
    evidence_unit: str = ""
    leave_s: float | None = None
    cause: str = ""
    do: str = ""
    causes: tuple[str, ...] = ()
    answered_s: float | None = None
    answered_by: str = ""
    over_s: float | None = None
    over_why: str = ""
    is_false: bool = False
    proof: str = ""


class StageFact(msgspec.Struct, frozen=True):
    """From this time on the station was in this stage."""

    at_s: float
    stage: str
    why: str


class StepFact(msgspec.Struct, frozen=True):
    """A step of a pre-use check and how it ended."""

    at_s: float
    step: str
    state: str
    why: str


class BaselineFact(msgspec.Struct, frozen=True):
    """A normal of this session that was set."""

    at_s: float
    signal: str
    value: float
    source: str


class SegmentFact(msgspec.Struct, frozen=True):
    """A segment of the recording.

    Attributes:
        at_s: When it began.
        why: What began it.
        blind_s: Time before it of which nothing is known; None where even its length is not.
        wall: Time of day at its beginning (ISO 8601), or empty where it was not known.
    """

    at_s: float
    why: str
    blind_s: float | None
    wall: str


class AirFacts(msgspec.Struct, frozen=True, kw_only=True):
    """How air was judged.

    Attributes:
        is_calibrated: Whether there is an airflow in L/min.
        relative_uncertainty: Standard uncertainty of the airflow over the airflow; None
            where it is not known.
        required_l_min: The required minimum, or None.
        normal_pa: Taught or stated normal pressure.
    """

    is_calibrated: bool
    relative_uncertainty: float | None
    required_l_min: float | None
    normal_pa: float


class Limit(msgspec.Struct, frozen=True):
    """A fixed limit of a rule, for the plots."""

    signal: str
    value: float
    rule: str


class SessionFacts(msgspec.Struct, frozen=True, kw_only=True):
    """One session.

    Attributes:
        station: Id of the station.
        arrangement: Where its box stood.
        software: Version that recorded it.
        files: Names of the files, in order.
        begins: Time of day at the beginning (ISO 8601), or empty where it was not known.
        length_s: From the beginning to the last line.
        worn_s: Time for which the hood was worn.
        figures_of: `worn`, or `session` where the hood never was: what figures are taken over.
        ended: Whether the recording was closed in good order.
        lines_lost: Lines at its end that nothing vouches for.
        segments, stages, alarms, steps, baselines: In the order of time.
        signals: Figures by signal.
        desaturations: Of each depth; empty without an oximeter.
        false_leaves: How many LEAVEs the wearer marked as false.
        leaves: How many alarms told to leave.
        looks: How many asked for a look.
        air: How air was judged, or None: air was not watched.
        limits: Fixed limits of the rules.
        filter: What the recording tells of the filter.
        calibrations: As in the recording.
        exceptions: Safety findings that the station file grants, with their reasons.
        cautions: The standing ones.
    """

    station: str
    arrangement: str
    software: str
    files: tuple[str, ...]
    begins: str
    length_s: float
    worn_s: float
    figures_of: str
    ended: bool
    lines_lost: int
    segments: tuple[SegmentFact, ...]
    stages: tuple[StageFact, ...]
    alarms: tuple[Episode, ...]
    steps: tuple[StepFact, ...]
    baselines: tuple[BaselineFact, ...]
    signals: dict[str, SignalFigures]
    desaturations: tuple[Desaturations, ...]
    false_leaves: int
    leaves: int
    looks: int
    air: AirFacts | None
    limits: tuple[Limit, ...]
    filter: dict[str, Any]
    calibrations: tuple[dict[str, Any], ...]
    exceptions: tuple[str, ...]
    cautions: tuple[str, ...]
