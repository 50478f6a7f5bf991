"""What the local socket says about a proof test, and what can be done in one."""

from enum import StrEnum

import msgspec

from linetender.core.proof import ProofStep, TimeToLeave
from linetender.memory.proofs import ProofRecord
from linetender.settings.proof_dates import ProofDates


class Deed(StrEnum):
    """What somebody at the line does."""

    LOOK = "look"
    BEGIN = "begin"
    MARK = "mark"
    """The cause happens at this instant."""
    SILENT = "silent"
    """The cause was there, and nothing sounds."""
    TOLD = "told"
    """So many seconds were taken by a person's own watch; none: nothing sounded."""
    SKIP = "skip"
    FINISH = "finish"
    """The step is over, or given up: the line is being put back."""


class ProofState(StrEnum):
    """How far the step of now has come."""

    NONE = "none"
    WAITING = "waiting"
    """For good air, and quiet."""
    ARMED = "armed"
    """The fault may be made now."""
    CAUSED = "caused"
    """It was made; the sound is awaited."""
    DONE = "done"
    RESTORING = "restoring"
    """Alarms are answered until the air is back."""


class ProofView(msgspec.Struct, frozen=True):
    """A station's proof test.

    Attributes:
        station: Its id.
        steps: That it has.
        state: How far the step of now has come.
        step: The step of now; empty where there is none.
        why: What is waited for, or why a step ended without a result.
        outcome: What the step of now came to.
        kept: What earlier steps came to, oldest first.
        dates: Until when the proof test is good.
        time: What the alarm budget leaves for the way out; None where nothing is watched.
        exit_time_s: With which the station reckons (s).
        is_kept: Whether results outlive this run.
    """

    station: str
    steps: tuple[ProofStep, ...]
    state: ProofState
    step: str
    why: str
    outcome: ProofRecord | None
    kept: tuple[ProofRecord, ...]
    dates: ProofDates
    time: TimeToLeave | None
    exit_time_s: float | None
    is_kept: bool
