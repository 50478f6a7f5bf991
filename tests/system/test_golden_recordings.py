"""Golden recordings: what the core decided once, it decides again.

Each recording in `tests/recordings/` stands with two files: NAME.toml says where it
comes from, NAME.expected what was decided. `pytest --update-golden` makes those of the
demo and of the scenarios anew; the commit says why. A recording of a real line is added
by hand and never made anew.
"""

import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from linetender.cli.frame_decoder import FrameDecoder
from linetender.recording.replay import replay_file
from system.golden_scenarios import SCENARIOS, Scenario
from system.transcript import transcript

RECORDINGS = Path(__file__).resolve().parents[1] / "recordings"
DEMO = RECORDINGS / "demo.jsonl"
MOST_BYTES = 3_000_000
PROVENANCE_KEYS = {"device", "firmware", "who", "when", "how", "config", "schema", "shows"}


def record_demo(path: Path) -> None:
    """Run the demo as fast as it computes and keep its recording."""
    command = Path(sys.executable).with_name("linetender")
    arguments = ["demo", "--headless", "--speed", "0", "--json", "--record", path]
    done = subprocess.run(
        [command, *arguments], capture_output=True, text=True, timeout=110, check=False
    )
    assert done.returncode == 0, done.stderr


def keep(recording: Path) -> None:
    """Make a recording the golden one of its name, with its transcript."""
    golden = RECORDINGS / recording.name
    golden.write_bytes(recording.read_bytes())
    golden.with_suffix(".expected").write_text(transcript(golden), encoding="utf-8")


def is_still_right(golden: Path, fresh: Path) -> bool:
    """Whether a golden recording needs no making anew: it decides the same, exactly."""
    if not (golden.exists() and golden.with_suffix(".expected").exists()):
        return False
    frame = b'{"is":"frame"'
    if (frame in golden.read_bytes()) is not (frame in fresh.read_bytes()):
        return False
    return transcript(fresh) == expected(golden) and not replay_file(golden).differing


def expected(recording: Path) -> str:
    path = RECORDINGS / recording.with_suffix(".expected").name
    assert path.exists(), f"no golden transcript {path.name}: pytest --update-golden makes it"
    return path.read_text(encoding="utf-8")


def test_the_demo_records_the_same_bytes_as_ever(tmp_path: Path, update_golden: bool) -> None:
    fresh = tmp_path / "demo.jsonl"
    record_demo(fresh)
    if update_golden:
        keep(fresh)
    assert DEMO.exists(), "no golden recording: make it with pytest --update-golden"
    assert fresh.read_text().splitlines() == DEMO.read_text().splitlines()


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario.name)
def test_the_live_station_decides_as_ever(
    scenario: Scenario, tmp_path: Path, update_golden: bool
) -> None:
    parts = scenario.record(tmp_path)
    if update_golden:
        for part in parts:
            golden = RECORDINGS / part.name
            if not is_still_right(golden, part):
                keep(part)
            golden.with_suffix(".toml").write_text(scenario.provenance(), encoding="utf-8")
    for part in parts:
        assert transcript(part) == expected(part)


def recordings() -> list[Path]:
    return sorted(RECORDINGS.glob("*.jsonl"))


@pytest.mark.parametrize("recording", recordings(), ids=lambda path: path.name)
def test_every_recording_replays_as_its_transcript_says(recording: Path) -> None:
    outcome = replay_file(recording)
    assert outcome.differences == ()
    assert (outcome.tail, outcome.ended) == (None, True)
    assert transcript(recording) == expected(recording)


@pytest.mark.parametrize("recording", recordings(), ids=lambda path: path.name)
def test_every_frame_is_decoded_as_ever(recording: Path) -> None:
    decoder = FrameDecoder(recording)
    outcome = replay_file(recording, anew=decoder)
    assert (outcome.differences, decoder.differences) == ((), [])
    assert bool(decoder.decoded) == (b'{"is":"frame"' in recording.read_bytes())


@pytest.mark.parametrize("recording", recordings(), ids=lambda path: path.name)
def test_every_recording_says_where_it_comes_from(recording: Path) -> None:
    provenance = tomllib.loads(recording.with_suffix(".toml").read_text(encoding="utf-8"))
    assert set(provenance) == PROVENANCE_KEYS
    assert all(provenance.values())


def test_the_folder_holds_recordings_with_their_files_and_stays_small() -> None:
    files = {path.name for path in RECORDINGS.iterdir() if path.is_file()}
    stems = {path.name.removesuffix(".jsonl") for path in recordings()}
    endings = (".jsonl", ".toml", ".expected")
    assert files == {stem + ending for stem in stems for ending in endings} | {"README.md"}
    assert {scenario.name for scenario in SCENARIOS} < stems
    assert sum((RECORDINGS / name).stat().st_size for name in files) < MOST_BYTES
    with_frames = [path for path in recordings() if b'{"is":"frame"' in path.read_bytes()]
    assert len(with_frames) >= sum(scenario.with_frames for scenario in SCENARIOS)


@pytest.mark.parametrize("hash_seed", ["1", "2"])
def test_all_recordings_replay_with_any_hash_seed(hash_seed: str) -> None:
    command = Path(sys.executable).with_name("linetender")
    done = subprocess.run(
        [command, "replay", "--json", *recordings()],
        capture_output=True,
        text=True,
        timeout=110,
        check=False,
        env={**os.environ, "PYTHONHASHSEED": hash_seed},
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert len(done.stdout.splitlines()) == len(recordings())
