"""A real mosquitto for a test, and an independent client as witness.

Import the fixtures `mosquitto` and `witness` into a `conftest.py`. Both programs come
from the Debian packages mosquitto and mosquitto-clients; where they are missing, a
test that needs them fails and says so.
"""

import os
import queue
import shutil
import signal
import socket
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import pytest

PATIENCE_S = 20.0
"""How long a test waits for what must happen: generous, for a slow machine."""

PASSWORD = "an invented one"

_SBIN = "/usr/sbin:/usr/local/sbin:/usr/bin:/bin"


def program(name: str) -> str:
    """Return the path of a program, or fail the test with what to install."""
    found = shutil.which(name) or shutil.which(name, path=_SBIN)
    if found is None:
        pytest.fail(f"{name} is not installed: apt-get install mosquitto mosquitto-clients")
    return found


class Seen(NamedTuple):
    """A message as the witness saw it."""

    topic: str
    retained: bool
    qos: int
    payload: str


class _Lines:
    """Lines of a program's output, gathered by a thread, so that a test can wait for one."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        assert process.stdout is not None
        self._stdout = process.stdout
        self._lines: queue.Queue[str | None] = queue.Queue()
        self._thread = threading.Thread(target=self._gather, daemon=True)
        self._thread.start()

    def _gather(self) -> None:
        for line in self._stdout:
            self._lines.put(line.rstrip("\n"))
        self._lines.put(None)

    def next(self, deadline_s: float) -> str | None:
        """Return the next line, or None at the end of the output or after the deadline."""
        try:
            return self._lines.get(timeout=max(0.0, deadline_s - time.monotonic()))
        except queue.Empty:
            return None

    def close(self) -> None:
        self._thread.join(PATIENCE_S)
        self._stdout.close()


class MosquittoBroker:
    """One mosquitto on a free port of the loopback interface, without persistence.

    Attributes:
        port: Its TCP port; the same after a restart.
    """

    def __init__(
        self, folder: Path, extra: str = "", users: tuple[str, ...] = (), password: str = PASSWORD
    ) -> None:
        """Prepare one.

        Args:
            folder: For its files.
            extra: Further lines of its configuration.
            users: Who may log in, by `folder/linetender.passwords`.
            password: Of all of them.
        """
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port: int = probe.getsockname()[1]
        for index, user in enumerate(users):
            file = str(folder / "linetender.passwords")
            flags = ["-b", *([] if index else ["-c"])]
            command = [program("mosquitto_passwd"), *flags, file, user, password]
            subprocess.run(command, check=True, capture_output=True, timeout=PATIENCE_S)
        self._config = folder / f"mosquitto-{self.port}.conf"
        # As root it would become another user, who cannot read a test's folder.
        user = "user root\n" if os.getuid() == 0 else ""
        access = "" if "allow_anonymous" in extra else "allow_anonymous true\n"
        keeping = "" if "persistence" in extra else "persistence false\n"
        self._config.write_text(
            f"listener {self.port} 127.0.0.1\n{access}{user}{keeping}"
            f"log_dest stderr\nset_tcp_nodelay true\n{extra}"
        )
        self._process: subprocess.Popen[str] | None = None
        self._log: _Lines | None = None

    def start(self) -> None:
        """Start it and wait until it listens."""
        self._process = subprocess.Popen(
            [program("mosquitto"), "-c", str(self._config)],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self._log = _Lines(self._process)
        deadline_s = time.monotonic() + PATIENCE_S
        told = []
        while (line := self._log.next(deadline_s)) is not None:
            told.append(line)
            if line.endswith(" running"):
                return
        self.stop()
        pytest.fail("mosquitto did not start:\n" + "\n".join(told))

    def kill(self) -> None:
        """End it as a power cut would."""
        self._end(subprocess.Popen.kill)

    def stop(self) -> None:
        """End it in order, if it runs."""
        self._end(subprocess.Popen.terminate)

    def freeze(self) -> None:
        """Let it hang: connections stay open, nothing is answered."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on."""
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)

    def _end(self, how: Callable[[subprocess.Popen[str]], None]) -> None:
        if self._process is None or self._log is None:
            return
        how(self._process)
        self._process.wait(PATIENCE_S)
        self._log.close()
        self._process = self._log = None

    def publish(
        self,
        topic: str,
        payload: str,
        *,
        retain: bool = False,
        login: tuple[str, str] | None = None,
    ) -> str:
        """Publish by an independent client, wait until it is done, return what it says."""
        command = [program("mosquitto_pub"), *self._address(), "-q", "1", "-t", topic]
        command += ["-m", payload, *(["-r"] if retain else [])]
        command += ["-u", login[0], "-P", login[1]] if login else []
        done = subprocess.run(
            command,
            check=True,
            timeout=PATIENCE_S,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        return done.stdout

    @contextmanager
    def watch(self, topics: str = "linetender/#") -> Iterator["Witness"]:
        """Subscribe by an independent client; begins once the subscription stands."""
        made = Witness(self, topics, self._address())
        try:
            yield made
        finally:
            made.close()

    def _address(self) -> list[str]:
        return ["-V", "mqttv5", "-h", "127.0.0.1", "-p", str(self.port)]


class Witness:
    """mosquitto_sub, a client that shares no code with ours."""

    _READY = "witness/ready"

    def __init__(self, broker: MosquittoBroker, topics: str, address: list[str]) -> None:
        broker.publish(self._READY, "", retain=True)
        command = [program("mosquitto_sub"), *address, "-q", "1"]
        command += ["-t", topics, "-t", self._READY, "-F", "%t\t%r\t%q\t%p"]
        self._process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        self._lines = _Lines(self._process)
        self.seen: list[Seen] = []
        self._unread: list[Seen] = []
        broker.publish(self._READY, "now", retain=True)
        try:
            self._until(lambda seen: seen.topic == self._READY)
        except BaseException:
            self.close()
            raise

    def wait_for(self, topic: str, *holds: str, retained: bool | None = None) -> Seen:
        """Return the first message on a topic, not returned before, that holds the words given.

        All messages are kept in `seen`, in the order in which they came.
        """
        return self._until(
            lambda seen: (
                seen.topic == topic
                and all(word in seen.payload for word in holds)
                and retained in (None, seen.retained)
            )
        )

    def _until(self, is_it: Callable[[Seen], bool]) -> Seen:
        deadline_s = time.monotonic() + PATIENCE_S
        index = 0
        while True:
            if index == len(self._unread) and not self._read(deadline_s):
                pytest.fail("not seen; seen were:\n" + "\n".join(map(str, self.seen)))
            if is_it(self._unread[index]):
                return self._unread.pop(index)
            index += 1

    def _read(self, deadline_s: float) -> bool:
        line = self._lines.next(deadline_s)
        if line is None:
            return False
        topic, retained, qos, payload = line.split("\t", 3)
        self.seen.append(Seen(topic, retained == "1", int(qos), payload))
        self._unread.append(self.seen[-1])
        return True

    def close(self) -> None:
        """End the client: at once, as now and then it lives through being asked to end."""
        self._process.kill()
        self._process.wait(PATIENCE_S)
        self._lines.close()


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[MosquittoBroker]:
    """A broker that is not yet running; the test starts it."""
    broker = MosquittoBroker(tmp_path)
    yield broker
    broker.stop()


@pytest.fixture
def witness(mosquitto: MosquittoBroker) -> Iterator[Witness]:
    """A client that watches everything of ours on a running broker (it starts it)."""
    mosquitto.start()
    with mosquitto.watch() as made:
        yield made
