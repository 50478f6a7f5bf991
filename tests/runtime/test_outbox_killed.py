"""Nothing is lost when the process that tells is killed at any instant."""

import json
import random
import subprocess
import sys
import threading
from pathlib import Path

from hypothesis import settings

from runtime.outbox_victim import box_at, last_number

VICTIM = Path(__file__).with_name("outbox_victim.py")
KILLS = 20 if settings().max_examples < 1_000 else 200


def test_nothing_is_lost_when_it_is_killed(tmp_path: Path) -> None:
    """A state that knows of an event that was neither delivered nor waits would be a loss."""
    seed = 7
    drawn = random.Random(seed)
    for number in range(KILLS):
        run = f"{number:08x}"
        with subprocess.Popen(
            [sys.executable, VICTIM, tmp_path, run], stdout=subprocess.PIPE
        ) as victim:
            assert victim.stdout is not None
            assert victim.stdout.readline() == b"ready\n"
            threading.Event().wait(drawn.uniform(0.0, 0.15))
            victim.kill()
    last = last_number(tmp_path)
    box = box_at(tmp_path, "ffffffff")
    while box.store_turn() or box.send_turn():
        pass
    box.close_store()
    lines = (tmp_path / "delivered").read_text().splitlines()
    ids = list(dict.fromkeys(json.loads(line)["id"] for line in lines))
    numbers = [int(one.rpartition("-")[2]) for one in ids]
    assert last > KILLS
    # Each run goes on where the kept state is: an event that was told before it was kept,
    # or by two runs, comes twice with two ids. None is left out.
    assert sorted(set(numbers)) == list(range(1, max(numbers) + 1)), f"seed {seed}"
    assert set(range(1, last + 1)) <= set(numbers)
    for number in range(KILLS):
        of_run = [n for one, n in zip(ids, numbers, strict=True) if one.startswith(f"{number:08x}")]
        assert of_run == sorted(of_run)
