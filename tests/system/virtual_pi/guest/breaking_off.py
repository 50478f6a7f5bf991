"""What must happen after each kind of break-off in use: restarted, resumed, and told."""

import time
from typing import TYPE_CHECKING

from checks import sh
from witness import SIREN, UNIT, edges, unit

if TYPE_CHECKING:
    from bench import Bench


def break_off(bench: "Bench", how: str, command: str, *, bites_within_s: float) -> None:
    """Break the daemon off by a command, and judge how it comes back.

    Args:
        bench: The bench.
        how: In words.
        command: For a shell.
        bites_within_s: Until the watchdog notices, in s; 0 where the process is dead.
    """
    checks, witness = bench.checks, bench.witness
    restarts = int(unit(UNIT, "NRestarts"))
    since_s = time.monotonic()
    before = len(witness.online)
    sh(command)
    checks.within(
        bites_within_s + 4,
        f"{how}: restarted by systemd",
        lambda: int(unit(UNIT, "NRestarts")) > restarts,
    )
    checks.within(10, f"{how}: active again", bench.is_active)
    checks.within(
        5,
        f"{how}: offline and online",
        lambda: "offline" in witness.online[before:] and witness.online[-1] == "online",
    )
    checks.within(
        5,
        f"{how}: resumes worn",
        lambda: witness.stage() == "worn" and witness.state_age_s() < 2,
    )
    sounded = any(to for _, to in edges(SIREN, since_s))
    checks.now(f"{how}: the siren sounded meanwhile", sounded)
    checks.within(
        15,
        f"{how}: SpO2 is back",
        lambda: witness.signal("spo2_percent") == 97 and witness.state_age_s() < 2,
    )
    bench.answer()
    bench.is_silent(f"{how}: answered, silent")
