"""The same inputs give the same bytes, whatever the seed of Python's hashing."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from linetender.core.plan import Arrangement

TESTS = Path(__file__).resolve().parents[1]

EVENTS_OF_A_DAY = """\
import sys
import msgspec
from core.full_stations import full_plan
from core.generated_days import eventful_day
from linetender.core.drive import drive
from linetender.core.plan import Arrangement
from linetender.core.watch import Watch

plan = full_plan(Arrangement(sys.argv[1]))
watch = Watch(plan, 0)
events = []
inputs = eventful_day(plan)
drive(inputs, inputs[-1].arrived_ns + 300_000_000_000, watch, events.extend)
encode = msgspec.json.encode
sys.stdout.buffer.write(encode(plan) + encode(events) + encode(watch.carryover()))
"""


def events_with_seed(seed: str, arrangement: Arrangement) -> bytes:
    """Return plan, events and carryover of an eventful day, made by a fresh Python."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", EVENTS_OF_A_DAY, arrangement.value],
        env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(TESTS)},
        capture_output=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr.decode()
    return done.stdout


@pytest.mark.parametrize("arrangement", Arrangement)
def test_two_hash_seeds_give_the_same_bytes(arrangement: Arrangement) -> None:
    """Nothing on the live path walks a set."""
    one = events_with_seed("1", arrangement)
    # The day must be worth comparing: several rules raise, are answered and clear.
    assert one.count(b'"alarm_changed"') > 40
    assert events_with_seed("2", arrangement) == one
