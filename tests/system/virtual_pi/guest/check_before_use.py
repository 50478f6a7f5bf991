"""The check before use as its wearer does it: by button, hood and ear."""

import time
from typing import TYPE_CHECKING

from witness import NORMAL_PA, SIREN, edges, step

if TYPE_CHECKING:
    from bench import Bench

PURGE_S = 120
CHIRPS_S = 3
"""The two chirps that ask for the hood are over by then; the test sound comes 15 s after them
at the earliest."""

LATEST_TEST_S = 45


def begin_the_check(bench: "Bench") -> None:
    """Fan off, a press; the fan is switched on; a press for card and lamps."""
    checks, hand, witness = bench.checks, bench.hand, bench.witness
    hand.press()
    checks.within(3, "a press begins the check", lambda: witness.stage() == "pre_use")
    time.sleep(3)
    hand.plug_in()
    bench.pressure_pa = NORMAL_PA
    checks.within(
        5, "fan on: pressure reads", lambda: abs(witness.signal("hood_pressure_pa") - NORMAL_PA) < 2
    )
    hand.press()
    checks.within(3, "card and lamps: a press", lambda: step("checklist")["state"] == "met")


def finish_the_check(bench: "Bench") -> None:
    """When all is measured the hood is asked for; the test sound comes: a press."""
    checks, hand, witness = bench.checks, bench.hand, bench.witness
    checks.within(PURGE_S, "all measured: it asks for the hood", lambda: step("heard")["why"])
    hand.lift_hood()
    time.sleep(CHIRPS_S)
    since_s = time.monotonic()
    checks.within(
        LATEST_TEST_S, "the test sound comes", lambda: any(to for _, to in edges(SIREN, since_s))
    )
    hand.press()
    checks.within(3, "heard, and pressed: worn", lambda: witness.stage() == "worn")
    checks.within(3, "the check was passed", lambda: step("check")["state"] == "met")
    for name in ("zero", "air", "purge", "spo2_percent", "pulse_rate_bpm", "heard"):
        checks.now(f"met: {name}", step(name)["state"] == "met")
    bench.is_silent("silent")
