"""The crash of PID 1: a hardware watchdog resets the computer, and the station comes back."""

import contextlib
import itertools
import shutil
import time
from pathlib import Path
from typing import TYPE_CHECKING

from checks import said, sh
from disk import stop_the_disk
from witness import EDGES, HOST, LIFE, NORMAL_PA, SIREN, edges

if TYPE_CHECKING:
    from bench import Bench

CRASHED_AT = HOST / "crashed_at"
"""In the host's folder, so that the second start of the computer knows that it is one."""

WATCHDOG_S = 30
"""Chosen: with 8 s the emulated PID 1 was reset while it still took its units over."""

FAILED_BEFORE = HOST / "failed_before"
EDGES_BEFORE = HOST / "edges.before"


def is_second_start() -> bool:
    """Say whether the computer was reset; set the edges of before aside, once.

    The monotonic clock starts anew, so edges of before and after would be mixed up.
    """
    if not CRASHED_AT.exists():
        return False
    if not EDGES_BEFORE.exists():
        shutil.move(EDGES, EDGES_BEFORE)
    return True


def crash_pid_1(bench: "Bench") -> int:
    """Worn, and then the service manager itself dies: only a hardware watchdog is left.

    The computer is reset in the midst of it and comes back in `after_reset`, so this
    returns only when nothing resets it.
    """
    for part in (bench.install, bench.power_on, bench.use):
        part()
    stop_the_disk(bench)
    Path("/etc/modules-load.d/watchdog.conf").write_text("i6300esb\n", encoding="ascii")
    sh("modprobe i6300esb")
    folder = Path("/etc/systemd/system.conf.d")
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "watchdog.conf").write_text(
        f"[Manager]\nRuntimeWatchdogSec={WATCHDOG_S}\n", encoding="ascii"
    )
    sh("systemctl daemon-reexec")
    bench.checks.within(5, "systemd feeds the hardware watchdog", _is_fed)
    # What sounds already would sound on; silence here shows that nothing new does.
    bench.answer()
    bench.checks.summary()
    sh("sync")
    said("now PID 1 crashes")
    shutil.copy(HOST / "log", HOST / "log.before")
    FAILED_BEFORE.write_text(str(len(bench.checks.failed)), encoding="ascii")
    CRASHED_AT.write_text(f"{time.monotonic():.3f}", encoding="ascii")
    sh("kill -SEGV 1")
    time.sleep(3 * WATCHDOG_S)
    return 1


def _is_fed() -> bool:
    (device,) = Path("/sys/class/watchdog").glob("watchdog*")
    return (device / "state").read_text(encoding="ascii").strip() == "active"


def after_reset(bench: "Bench") -> int:
    """The watchdog has reset the computer: the station starts by itself and asks."""
    checks, witness = bench.checks, bench.witness
    said("the computer has started again")
    _judge_the_end(bench)
    checks.within(15, "the service started by itself", bench.is_active)
    checks.within(10, "the sign of life toggles", lambda: len(_toggles()) >= 4)
    checks.within(10, "worn still", lambda: witness.stage() == "worn" and _is_fresh(bench))
    checks.within(
        5, "pressure reads", lambda: abs(witness.signal("hood_pressure_pa") - NORMAL_PA) < 2
    )
    checks.within(70, "it tells of the gap, or calls", lambda: _tells(bench))
    checks.now("by its siren too", edges(SIREN, 0.0))
    checks.within(20, "SpO2 by Bluetooth", lambda: witness.signal("spo2_percent") == 97)
    said(sh("linetender status", check=False))
    bench.answer()
    bench.is_silent("answered: silent")
    failed_before = int(FAILED_BEFORE.read_text(encoding="ascii"))
    said(f"before the reset {failed_before} did not hold")
    return checks.summary() or int(failed_before > 0)


def _judge_the_end(bench: "Bench") -> None:
    """While PID 1 stood still the daemon watched on, and nothing sounded without a cause."""
    at_s = float(CRASHED_AT.read_text(encoding="ascii"))
    after = [(of_s, pin) for of_s, pin in _edges_before() if of_s >= at_s]
    life = [of_s for of_s, pin in after if pin == LIFE]
    lasted_s = max(life, default=at_s) - at_s
    bench.checks.now(f"watched on for {lasted_s:.1f} s, until the reset", lasted_s >= 2.0)
    bench.checks.now("reset in time", lasted_s <= 1.5 * WATCHDOG_S)
    gaps = [b - a for a, b in itertools.pairwise(life)]
    bench.checks.now("the sign of life never paused meanwhile", max(gaps, default=9.9) < 1.5)
    bench.checks.now("nothing sounded without a cause", SIREN not in {pin for _, pin in after})


def _edges_before() -> list[tuple[float, int]]:
    lines = EDGES_BEFORE.read_text(encoding="ascii").splitlines()
    return [(float(at_s), int(pin)) for at_s, pin, _ in (line.split() for line in lines)]


def _is_fresh(bench: "Bench") -> bool:
    """The broker may have kept the state of before the reset."""
    return bench.witness.online[-1] == "online" and bench.witness.state_age_s() < 2


def _toggles() -> list[tuple[float, int]]:
    return edges(LIFE, time.monotonic() - 5)


def _tells(bench: "Bench") -> bool:
    """Return whether the gap, or that nobody answers about the hood, is an alarm by now."""
    for rule in ("resumed", "power_cut_unanswered"):
        with contextlib.suppress(LookupError, TypeError):
            if bench.witness.alarm(rule) != "normal":
                return True
    return False
