"""What a station's memory has in force, as the settings need it and headers show it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from linetender.airline.air_state import air_at
from linetender.airline.filter_history import FilterHistory
from linetender.airline.fitted_element import CalibratedElement, FitCovariance
from linetender.settings.proof_dates import ProofSeen

TAUGHT = "taught"
CALIBRATED = "calibrated"
PROOF = "proof"
FILTER = "filter"
"""Kinds of an entry, under its key `kind`."""


@dataclass(frozen=True)
class Taught:
    """A normal pressure in force.

    Attributes:
        normal_pa: As the sensor reads it (Pa).
        driver: Driver of the sensor that read it.
        signal: Its signal.
        made_at: Time of day (ISO 8601).
        zero_pa: What it reads with its ports joined (Pa).
        pinched_percent, duct_off_percent: Air (% of the normal) with the duct pinched and
            off; None where that was not taught.
    """

    normal_pa: float
    driver: str
    signal: str
    made_at: str
    zero_pa: float = 0.0
    pinched_percent: float | None = None
    duct_off_percent: float | None = None


@dataclass(frozen=True)
class Calibrated:
    """A calibration in force.

    Attributes:
        element: Q = k·Δp^n of true pressures, with its uncertainty.
        pressure_factor: By what readings were multiplied to get them.
        driver: Driver of the sensor it was made with.
        signal: Its signal.
        made_at: Time of day (ISO 8601).
        zero_pa: What the sensor reads with its ports joined (Pa).
    """

    element: CalibratedElement
    pressure_factor: float
    driver: str
    signal: str
    made_at: str
    zero_pa: float = 0.0


@dataclass(frozen=True)
class Remembered:
    """What a station's memory holds in force. Make one with `remembered_of`.

    Attributes:
        taught: The normal pressure, or None.
        calibrated: The calibration, or None.
        shown: Both as plain data, oldest first, for the headers of recordings.
        expired: What should be made again, each in a sentence for people.
        proofs: What the steps of proof tests came to last, oldest first.
        filter_due: Until when the filter is good (ISO 8601); empty where nobody knows.
        filter: What was seen of the filter in place; None where nothing was.
        at_s: When it was remembered (s since 1970, UTC).
    """

    taught: Taught | None = None
    calibrated: Calibrated | None = None
    shown: tuple[dict[str, Any], ...] = ()
    expired: tuple[str, ...] = ()
    filter_due: str = ""
    filter: FilterHistory | None = None
    at_s: float = 0.0
    proofs: tuple[ProofSeen, ...] = ()

    @property
    def zero_pa(self) -> float | None:
        """The zero that was measured last (Pa); None where none was."""
        known = [each for each in (self.taught, self.calibrated) if each is not None]
        newest = max(known, key=lambda each: datetime.fromisoformat(each.made_at), default=None)
        return None if newest is None else newest.zero_pa


NOTHING = Remembered()

Recall = Callable[[str], Remembered]
"""Id of a station to what its memory holds."""


def nothing_recalled(_: str) -> Remembered:
    """For stations without a memory: demos, tests."""
    return NOTHING


def remembered_of(entries: tuple[dict[str, Any], ...], expired: tuple[str, ...] = ()) -> Remembered:
    """Return what entries mean, be they out of a memory or out of a recording's header.

    Entries of a kind that is not known here are passed over.

    Args:
        entries: Oldest first; of two of a kind the later one counts.
        expired: See `Remembered`.

    Raises:
        ValueError: an entry lacks something, or is out of range.
    """
    taught: Taught | None = None
    calibrated: Calibrated | None = None
    proofs: list[ProofSeen] = []
    filter_due = ""
    for entry in entries:
        try:
            if entry.get("kind") == TAUGHT:
                taught = _taught(entry)
            elif entry.get("kind") == CALIBRATED:
                calibrated = _calibrated(entry)
            elif entry.get("kind") == PROOF:
                proofs.append(_proof(entry))
            elif entry.get("kind") == FILTER:
                filter_due = entry["due_at"]
        except (KeyError, TypeError) as error:
            raise ValueError(f"a calibration is not whole: {error}") from error
    return Remembered(
        taught, calibrated, entries, expired, proofs=tuple(proofs), filter_due=filter_due
    )


def _proof(entry: Mapping[str, Any]) -> ProofSeen:
    return ProofSeen(entry["made_at"], entry["step"], entry["result"], entry.get("seconds"))


def _taught(entry: Mapping[str, Any]) -> Taught:
    return Taught(
        entry["normal_pa"],
        entry["driver"],
        entry["signal"],
        entry["made_at"],
        entry.get("zero_pa", 0.0),
        entry.get("pinched_percent"),
        entry.get("duct_off_percent"),
    )


def _calibrated(entry: Mapping[str, Any]) -> Calibrated:
    element = CalibratedElement(
        k_l_min=entry["k_l_min"],
        exponent=entry["exponent"],
        reference_air=air_at(
            entry["temperature_c"], entry["pressure_pa"], entry["humidity_percent"]
        ),
        method_relative=entry["method_relative"],
        covariance=FitCovariance(
            entry["ln_k_variance"], entry["ln_k_exponent_covariance"], entry["exponent_variance"]
        ),
        least_pa=entry["least_pa"],
        greatest_pa=entry["greatest_pa"],
    )
    return Calibrated(
        element,
        entry["pressure_factor"],
        entry["driver"],
        entry["signal"],
        entry["made_at"],
        entry.get("zero_pa", 0.0),
    )
