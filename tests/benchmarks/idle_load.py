"""What the daemon costs while nothing happens. Prints; asserts no figure.

    python tests/benchmarks/idle_load.py [SECONDS]

`linetender run --simulate demo` at the speed of life, recorded: 25 readings of pressure
and an oximeter's values each second. The simulated world, chip and oximeter run in the
same process and are counted in, so that a real station costs less, plus its bus.
Yardstick: under 3 % of one core, 80 MB.
"""

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from linetender.settings.shipped import shipped

SETTLE_S = 4.0
"""Left out at the beginning: imports and opening."""


def cpu_s(process: int) -> float:
    """Return the processor time that a process has used (s)."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def resident_mb(process: int) -> float:
    """Return the largest resident memory of a process so far (MB)."""
    lines = Path(f"/proc/{process}/status").read_text().splitlines()
    peak = next(line for line in lines if line.startswith("VmHWM:"))
    return int(peak.split()[1]) * 1024 / 1e6


def main() -> None:
    """Run it for a while, print its share of a core and its memory."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 15.0
    command = [Path(sys.executable).with_name("linetender"), "run", shipped("config/demo.toml")]
    with tempfile.TemporaryDirectory() as folder:
        arguments = ["--simulate", "demo", "--record", f"{folder}/s.jsonl", "--state", folder]
        run = subprocess.Popen(
            [*command, *arguments],
            stdout=subprocess.DEVNULL,
            env={**os.environ, "XDG_RUNTIME_DIR": folder},
        )
        with run:
            time.sleep(SETTLE_S)
            used_s, from_s = cpu_s(run.pid), time.monotonic()
            time.sleep(seconds)
            share = (cpu_s(run.pid) - used_s) / (time.monotonic() - from_s)
            memory_mb = resident_mb(run.pid)
            run.terminate()
    print(
        f"idle for {seconds:.0f} s: {share:.1%} of one core ({share / 0.03:.2f} of the 3 % aimed "
        f"at), {memory_mb:.0f} MB ({memory_mb / 80:.2f} of the 80 MB aimed at)"
    )


if __name__ == "__main__":
    main()
