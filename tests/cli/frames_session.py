"""Records a session of the demo station with the answers of its devices."""

from pathlib import Path

from linetender.recording.writer import RecordingWriter
from runtime.demo_sessions import ORDINARY, play
from system.golden_scenarios import fault_on_the_bus

END_S = 24.0


def record_with_frames(path: Path) -> None:
    """Record 24 s in which the air sensor's answers have a flipped bit for 3 s."""
    writer = RecordingWriter(path, waits=True, with_frames=True)
    play((*ORDINARY, *fault_on_the_bus(18.0)), END_S, recorder=writer)
    assert writer.fault is None
