"""A D-Bus daemon of the tests' own, so that the real Bluetooth library has a bus to use."""

import os
import shutil
import subprocess
import tempfile
from pathlib import Path
from types import TracebackType
from unittest import mock

CONFIGURATION = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>session</type>
  <keep_umask/>
  <listen>{address}</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow send_destination="*" eavesdrop="true"/>
    <allow eavesdrop="true"/>
    <allow own="*"/>
  </policy>
  <limit name="max_completed_connections">{connections}</limit>
</busconfig>
"""


class PrivateBus:
    """A bus that stands in for the system bus while it is entered.

    Args:
        connections: How many it accepts at the same time.
    """

    def __init__(self, *, connections: int = 2048) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="private-bus-"))
        self._configuration = self._folder / "bus.conf"
        self._process: subprocess.Popen[bytes] | None = None
        self.socket = self._folder / "bus"
        self.address = f"unix:path={self.socket}"
        self._configuration.write_text(
            CONFIGURATION.format(address=self.address, connections=connections)
        )
        self._environment = mock.patch.dict(os.environ, {"DBUS_SYSTEM_BUS_ADDRESS": self.address})

    def start(self) -> None:
        """Start the daemon; returns once it listens."""
        command = ["dbus-daemon", f"--config-file={self._configuration}", "--nofork"]
        command += ["--nopidfile", "--print-address=1"]
        self._process = subprocess.Popen(command, stdout=subprocess.PIPE)
        assert self._process.stdout is not None
        assert self._process.stdout.readline().startswith(b"unix:")

    def kill(self) -> None:
        """End it without warning; its socket file stays, as after a crash."""
        if self._process is None:
            return
        self._process.kill()
        self._process.wait()
        assert self._process.stdout is not None
        self._process.stdout.close()
        self._process = None

    def restart(self) -> None:
        """Start it again after `kill`."""
        self.socket.unlink(missing_ok=True)
        self.start()

    def __enter__(self) -> "PrivateBus":
        self._environment.start()
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.kill()
        self._environment.stop()
        shutil.rmtree(self._folder)
