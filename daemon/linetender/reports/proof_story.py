"""What a recording's header says of proof tests, for people."""

from collections.abc import Iterable
from typing import Any

from linetender.core.proof import ProofKind
from linetender.settings.remembered import PROOF


def proof_lines(entries: Iterable[dict[str, Any]]) -> list[str]:
    """Return a line for each step of a proof test, as it stood when the session began.

    Args:
        entries: What the station's memory had in force, out of the header.
    """
    lines = [_line(entry) for entry in entries if entry.get("kind") == PROOF]
    return lines or ["No proof test of the line is recorded."]


def proof_summary(entries: Iterable[dict[str, Any]]) -> str:
    """Return one line for all steps in force; empty where no proof test was made.

    Args:
        entries: As of `proof_lines`.
    """
    proofs = [entry for entry in entries if entry.get("kind") == PROOF]
    if not proofs:
        return ""
    day = max(entry["made_at"][:10] for entry in proofs)
    told = [f"{_name(entry)} {entry['result']}" for entry in proofs]
    return f"Proof test of the line, last on {day}: {', '.join(told)}."


def _name(entry: dict[str, Any]) -> str:
    return str(entry["step"]).replace("_", " ")


def _line(entry: dict[str, Any]) -> str:
    told = f"Proof test of {entry['made_at'][:10]}, {_name(entry)}: {entry['result']}"
    seconds, limit_s = entry.get("seconds"), entry.get("limit_s")
    if seconds is None:
        return f"{told}."
    if entry["step"] == ProofKind.WALK:
        return f"{told}, out in {seconds:.1f} s."
    most = "" if limit_s is None else f", {limit_s:.1f} s at most"
    return f"{told}, sound after {seconds:.1f} s{most}."
