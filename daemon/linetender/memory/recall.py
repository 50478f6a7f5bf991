"""What the memory has in force, as the settings take it."""

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from linetender.airline.teaching import LineState
from linetender.core.proof import ProofResult
from linetender.memory.calibrations import CalibrationRecord, calibration_in_force
from linetender.memory.filters import filters_in
from linetender.memory.proofs import ProofRecord, proofs_in
from linetender.memory.store import FILE_NAME, open_store
from linetender.memory.taught_pressures import TaughtRecord, taught_in_force
from linetender.settings.remembered import (
    CALIBRATED,
    NOTHING,
    PROOF,
    TAUGHT,
    Remembered,
    remembered_of,
)


def remembered_in(folder: Path, now: datetime) -> Remembered:
    """Return what the memory in a state folder has in force; nothing where there is none.

    Raises:
        MemoryFault: there is one, and it cannot be used.
    """
    if not (folder / FILE_NAME).exists():
        return NOTHING
    with open_store(folder) as store:
        taught, calibration = taught_in_force(store), calibration_in_force(store)
        proofs, filters = proofs_in(store), filters_in(store)
    entries: list[dict[str, Any]] = _proof_entries(proofs)
    expired: list[str] = []
    if taught is not None:
        entries.append(_taught_entry(taught))
        expired += _expired("The line was taught", taught.made_at, taught.expires_at, now)
    if calibration is not None:
        entries.append(_calibration_entry(calibration))
        expired += _expired(
            "The line was calibrated", calibration.made_at, calibration.expires_at, now
        )
    entries.sort(key=lambda entry: datetime.fromisoformat(entry["made_at"]))
    remembered = remembered_of(tuple(entries), tuple(expired))
    if not filters:
        return remembered
    return replace(remembered, filter=filters[-1], at_s=now.timestamp())


def _proof_entries(records: list[ProofRecord]) -> list[dict[str, Any]]:
    """What each step came to last, where somebody has said it."""
    last = {one.step: one for one in records if one.result != ProofResult.PENDING}
    return [
        {
            "kind": PROOF,
            "made_at": one.ended_at,
            "step": one.step,
            "result": one.result,
            "seconds": one.seconds,
            "limit_s": one.limit_s,
        }
        for one in last.values()
    ]


def _expired(what: str, made_at: str, expires_at: str, now: datetime) -> list[str]:
    if now < datetime.fromisoformat(expires_at):
        return []
    return [f"{what} on {made_at[:10]}, good until {expires_at[:10]}: do it again soon."]


def _taught_entry(record: TaughtRecord) -> dict[str, Any]:
    return {
        "kind": TAUGHT,
        "made_at": record.made_at,
        "synchronised": record.synchronised,
        "expires_at": record.expires_at,
        "method": record.method,
        "driver": record.driver,
        "signal": record.signal,
        "normal_pa": record.normal_pa,
        "uncertainty_pa": record.uncertainty_pa,
        "zero_pa": record.zero_pa,
        **_faults_of(record),
    }


def _faults_of(record: TaughtRecord) -> dict[str, float]:
    """How its faults looked (% of the normal air), of those that were taught."""
    return {
        key: percent
        for key, state in (
            ("pinched_percent", LineState.PINCHED),
            ("duct_off_percent", LineState.DUCT_OFF),
        )
        if (seen := record.states.get(state.value)) is not None
        and (percent := seen.percent_of_normal) is not None
    }


def _calibration_entry(record: CalibrationRecord) -> dict[str, Any]:
    left_out = {"covariance", "points"}
    plain = {name: getattr(record, name) for name in record.__struct_fields__}
    covariance = record.covariance
    return {
        "kind": CALIBRATED,
        **{name: value for name, value in plain.items() if name not in left_out},
        "ln_k_variance": covariance.ln_k,
        "ln_k_exponent_covariance": covariance.ln_k_exponent,
        "exponent_variance": covariance.exponent,
    }
