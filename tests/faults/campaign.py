"""Runs the fault campaign's virtual part and prints its table.

    python tests/faults/campaign.py [PART_OF_AN_ID]

Faults of the levels live and guest are listed with what injects them.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from faults.fault_run import run_fault
from faults.fault_table import Fault, Level, load_faults


def main(arguments: list[str]) -> int:
    """Print one line for each fault; return 1 if any is not as expected."""
    part = arguments[0] if arguments else ""
    faults = [fault for fault in load_faults() if part in fault.id]
    wide = max((len(fault.id) for fault in faults), default=2)
    print(f"{'id':{wide}}  {'expected':34}  got")
    wrong = 0
    for fault in faults:
        got, complaints = _got(fault)
        wrong += bool(complaints)
        print(f"{fault.id:{wide}}  {_expected(fault):34}  {got}", flush=True)
        for complaint in complaints:
            print(f"{'':{wide}}  WRONG: {complaint}")
    ran = sum(fault.row.level is Level.VIRTUAL for fault in faults)
    print(f"{len(faults)} faults, {ran} of them injected here: {wrong} not as expected")
    return 1 if wrong else 0


def _expected(fault: Fault) -> str:
    case = fault.case
    if case.priority is None:
        return "none"
    limit = "" if case.within_s is None else f" in {case.within_s:g} s"
    return f"{case.expect} {case.priority}{limit}"


def _got(fault: Fault) -> tuple[str, list[str]]:
    if fault.row.level is not Level.VIRTUAL:
        return f"{fault.row.level}: {fault.row.inject}", []
    outcome = run_fault(fault)
    told = ", ".join(f"{rule} {at_s:.1f} s" for rule, _, at_s in outcome.told) or "none"
    over = "" if outcome.recovery_s is None else f"; over {outcome.recovery_s:.1f} s after mending"
    return told + over, outcome.complaints(fault)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
