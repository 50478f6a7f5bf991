"""Golden recordings: what the core decided once, it decides again.

`demo.jsonl` is made by the demo; `pytest --update-golden` makes it anew, and the
commit says why. A recording of a real line is added by hand and never made anew.
"""

import subprocess
import sys
from pathlib import Path

import pytest

from linetender.recording.replay import replay_file

RECORDINGS = Path(__file__).resolve().parents[1] / "recordings"
DEMO = RECORDINGS / "demo.jsonl"


def record_demo(path: Path) -> None:
    """Run the demo as fast as it computes and keep its recording."""
    command = Path(sys.executable).with_name("linetender")
    arguments = ["demo", "--headless", "--speed", "0", "--json", "--record", path]
    done = subprocess.run(
        [command, *arguments], capture_output=True, text=True, timeout=110, check=False
    )
    assert done.returncode == 0, done.stderr


def test_the_demo_records_the_same_bytes_as_ever(tmp_path: Path, update_golden: bool) -> None:
    fresh = tmp_path / "demo.jsonl"
    record_demo(fresh)
    if update_golden:
        DEMO.write_bytes(fresh.read_bytes())
    assert DEMO.exists(), "no golden recording: make it with pytest --update-golden"
    assert fresh.read_text().splitlines() == DEMO.read_text().splitlines()


@pytest.mark.parametrize(
    "recording", sorted(RECORDINGS.glob("*.jsonl")), ids=lambda path: path.name
)
def test_every_recording_replays(recording: Path) -> None:
    outcome = replay_file(recording)
    assert outcome.differences == ()
    assert outcome.events > 0
