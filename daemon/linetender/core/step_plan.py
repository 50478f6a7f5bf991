"""The steps of the pre-use check, as data: which there are, how long each may take.

A step exists only for a part that is fitted; `linetender.settings` makes the list. How
far a step has come is judged in `pre_use.py`.
"""

from enum import StrEnum

import msgspec


class StepKind(StrEnum):
    """What a step of the pre-use check looks at."""

    CHECKLIST = "checklist"
    """The wearer has gone through the printed card; one tap says so."""
    ZERO = "zero"
    """With the fan off the pressure sensor reads next to nothing."""
    AIR = "air"
    """The air is good and steady; the session's baseline is taken from it."""
    PURGE = "purge"
    """Good air has blown through the line for long enough."""
    BASELINE = "baseline"
    """The oximeter reads well for half a minute; the wearer's own normal is taken."""
    SUPPLY = "supply"
    """The box's supply voltage is well over the limit of its alarm."""
    ARMED = "armed"
    """The ARM switch of keep-alive alarm and siren is on."""
    LAMP = "lamp"
    """The lamps flash at the start of the check; the tap for the card says so."""
    HEARD = "heard"
    """The wearer hears the test sound, hood on, fan full, and taps within 5 s."""
    FAR_END = "far_end"
    """A second box confirms that it hears the station."""
    BROKER = "broker"
    """What the station tells the broker comes back from it."""
    RECORDING = "recording"
    """The session is being recorded."""
    DISK = "disk"
    """There is room on the disk for it."""
    CALIBRATION = "calibration"
    """What was taught and calibrated is in date."""
    FILTER = "filter"
    """The filter is in date."""
    PROOF = "proof"
    """The proof test of the real line is in date."""


STEP_CODES: dict[StepKind, tuple[int, int]] = {
    StepKind.CHECKLIST: (1, 1),
    StepKind.AIR: (1, 2),
    StepKind.ZERO: (1, 3),
    StepKind.PURGE: (1, 4),
    StepKind.BASELINE: (2, 1),
    StepKind.HEARD: (2, 2),
    StepKind.LAMP: (2, 3),
    StepKind.ARMED: (2, 4),
    StepKind.FAR_END: (3, 1),
    StepKind.BROKER: (3, 2),
    StepKind.RECORDING: (3, 3),
    StepKind.DISK: (3, 4),
    StepKind.SUPPLY: (4, 1),
    StepKind.CALIBRATION: (4, 2),
    StepKind.FILTER: (4, 3),
    StepKind.PROOF: (4, 4),
}
"""What chirps and blinks tell when a step ends the check: so many, a pause, so many.

The same on every station, so that a card of another one does not mislead. Two small
numbers are counted more surely than one large one (chosen)."""


class StepPlan(msgspec.Struct, frozen=True, omit_defaults=True):
    """One step of a station's pre-use check.

    Attributes:
        id: Its name in events, in commands and on the card.
        kind: What it looks at.
        limit_ns: Unmet for so long, it ends the check. Counted from the beginning of
            the check; for HEARD from the instant at which the hood goes on.
        subject: Signal of a baseline, name of a second box; else empty.
        least: For SUPPLY the least voltage (V).
        due: For CALIBRATION, FILTER and PROOF the last day or instant (ISO 8601); the runtime,
            which knows the time of day, says whether it has passed.
    """

    id: str
    kind: StepKind
    limit_ns: int
    subject: str = ""
    least: float = 0.0
    due: str = ""
