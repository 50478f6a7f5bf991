"""Records a session and is killed on the way (SIGKILL), again and again.

    python recording_victim.py FOLDER COUNT

Run by a test. Each time a child of this process kills itself at a random turn of its
loop, wherever its writing thread may be then. Beside each recording stands how many
bytes of it had been synced.
"""

import os
import random
import signal
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from linetender.recording import disk_thread
from linetender.recording.disk_file import DiskFile
from linetender.recording.writer import RecordingWriter
from recording.live_sessions import record_session

SECONDS = 60
TURNS = 600


class NotedFile(DiskFile):
    """A real file that notes what was synced, in a way that outlives the process."""

    def __init__(self, path: Path) -> None:
        self._note = os.open(path.with_suffix(".synced"), os.O_WRONLY | os.O_CREAT, 0o600)
        self._length = 0
        super().__init__(path)

    def append(self, piece: bytes) -> None:
        super().append(piece)
        self._length += len(piece)

    def sync(self) -> None:
        super().sync()
        os.pwrite(self._note, b"%12d" % self._length, 0)


class NotedDisk:
    """The disk, with such files."""

    def begin(self, path: Path) -> NotedFile:
        return NotedFile(path)

    def probe(self, path: Path) -> None:
        raise OSError("no disk of this test ever fails")


def record_until_killed(path: Path, turns: int) -> None:
    """Record, and die after some turns of the loop."""

    def turned() -> None:
        nonlocal turns
        turns -= 1
        if turns == 0:
            os.kill(os.getpid(), signal.SIGKILL)

    writer = RecordingWriter(path, storage=NotedDisk(), sync_interval_s=0.005, waits=True)
    record_session(writer, SECONDS, turned=turned)


def main() -> None:
    """Do it COUNT times; the loop runs no further ahead of the disk than two pieces."""
    disk_thread.PIECES_WAITING = 2
    folder, count = Path(sys.argv[1]), int(sys.argv[2])
    draw = random.Random(11)
    for number in range(count):
        turns = draw.randint(1, TURNS)
        child = os.fork()
        if child == 0:
            record_until_killed(folder / f"{number:04d}.jsonl", turns)
            os._exit(1)
        _, status = os.waitpid(child, 0)
        if not os.WIFSIGNALED(status):
            sys.exit(f"child {number} was not killed: {status}")


if __name__ == "__main__":
    main()
