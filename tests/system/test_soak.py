"""Twenty simulated minutes of the daemon, mishaps included, leave nothing behind in it."""

from pathlib import Path

from benchmarks.soak import SIMULATED_STEP_S, soak

GROWTH_KB = 3_000
"""Chosen: some times what the first minutes need for what is loaded or made at first use."""


def test_threads_and_open_files_stay_and_memory_is_bounded(tmp_path: Path) -> None:
    soaked = soak(tmp_path, 1 / 3, SIMULATED_STEP_S)
    first, last = soaked.seen[0], soaked.seen[-1]
    assert last.world_s > 1200.0
    assert soaked.sounded > 0
    assert (last.threads, last.handles) == (first.threads, first.handles), soaked.seen
    assert last.resident_kb - first.resident_kb < GROWTH_KB, soaked.seen
    assert soaked.waiting == 0
