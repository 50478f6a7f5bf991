"""The disk fails in use: full, then read-only; the air is watched on."""

import os
from pathlib import Path
from typing import TYPE_CHECKING

from checks import said, sh
from witness import NORMAL_PA, SIREN, UNIT, level, unit

if TYPE_CHECKING:
    from bench import Bench


def stop_the_disk(bench: "Bench") -> None:
    """A full disk, then one that refuses writing: watched on, sounded, told, recovered."""
    filler = Path("/var/lib/linetender/filler")
    free = os.statvfs(filler.parent)
    sh(f"fallocate -l {free.f_bfree * free.f_frsize} {filler}", check=False)
    sh(f"dd if=/dev/zero of={filler}.2 bs=4k", check=False)
    said(sh("df /var/lib/linetender"))
    _without_a_disk(bench, "disk full")
    sh(f"rm -f {filler} {filler}.2")
    _with_the_disk(bench, "space again")
    # Forced: files are open for writing, as when the card itself fails.
    sh("echo u > /proc/sysrq-trigger")
    bench.checks.within(5, "root is read-only", lambda: " ro," in _root_mount())
    _without_a_disk(bench, "read-only root")
    sh("mount -o remount,rw /")
    _with_the_disk(bench, "writable again")


def _root_mount() -> str:
    lines = Path("/proc/mounts").read_text(encoding="ascii").splitlines()
    return next(line for line in lines if line.split()[1:3] == ["/", "ext4"])


def _without_a_disk(bench: "Bench", how: str) -> None:
    checks, witness = bench.checks, bench.witness
    restarts = unit(UNIT, "NRestarts")
    checks.within(
        45, f"{how}: told", lambda: witness.alarm("storage_failed") not in ("normal", "None")
    )
    bench.pressure_pa = 0.0
    checks.within(4, f"{how}: air lost is told", lambda: "unack" in witness.alarm("air_lost"))
    checks.within(2, f"{how}: and sounds", lambda: level(SIREN))
    bench.pressure_pa = NORMAL_PA
    checks.within(8, f"{how}: air back", lambda: "latched" in witness.alarm("air_lost"))
    bench.answer()
    checks.now(f"{how}: nothing was restarted", unit(UNIT, "NRestarts") == restarts)
    checks.now(f"{how}: still worn", witness.stage() == "worn")


def _with_the_disk(bench: "Bench", how: str) -> None:
    checks, witness = bench.checks, bench.witness
    checks.within(
        45,
        f"{how}: recorded again",
        lambda: witness.alarm("storage_failed") in ("normal", "returned_unacknowledged"),
    )
    bench.answer()
