"""From the start of the process to the first good reading watched. Prints; asserts no time.

    python tests/benchmarks/start_to_armed.py [RUNS]

The whole of `linetender run --simulate demo`: interpreter, imports, station file, lock,
opening the devices, with a recording. While worn the air is watched from then on.
Yardstick: 2 s.
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable
from pathlib import Path

from linetender.settings.shipped import shipped

CHILD = "child"


def run_until_the_first_reading(arguments: list[str]) -> None:
    """Be `linetender`; print the time of the first good reading, and end."""
    from linetender.cli.main import main
    from linetender.runtime.inbox import Inbox
    from linetender_drivers.measurements import Measurement

    take = Inbox.measurements

    def watched(inbox: Inbox, source: str, made: Iterable[Measurement]) -> None:
        measured = tuple(made)
        take(inbox, source, measured)
        if source == "air" and any(one.value is not None for one in measured):
            os.write(1, f"first {time.monotonic_ns()}\n".encode())
            os._exit(0)

    Inbox.measurements = watched  # type: ignore[method-assign]
    sys.argv = ["linetender", "run", *arguments]
    main()


def start_s(folder: Path) -> float:
    """Return how long one start takes (s)."""
    command = [sys.executable, __file__, CHILD, str(shipped("config/demo.toml"))]
    command += ["--simulate", "demo", "--record", str(folder / "s.jsonl")]
    environment = {**os.environ, "XDG_RUNTIME_DIR": str(folder)}
    started_ns = time.monotonic_ns()
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    first = next(line for line in done.stdout.splitlines() if line.startswith("first "))
    return (int(first.split()[1]) - started_ns) / 1e9


def main() -> None:
    """Start it some times, print the shortest, the median and the longest."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    times = []
    for _ in range(runs):
        with tempfile.TemporaryDirectory() as folder:
            times.append(start_s(Path(folder)))
    median = statistics.median(times)
    print(
        f"start to first good reading: {min(times):.2f} s at best, median {median:.2f} s, "
        f"{max(times):.2f} s at worst of {runs}; {median / 2.0:.2f} of the 2 s aimed at"
    )


if __name__ == "__main__":
    if sys.argv[1:2] == [CHILD]:
        run_until_the_first_reading(sys.argv[2:])
    else:
        main()
