"""What the service manager is told: ready, alive, how things stand, stopping.

It restarts a daemon that has not said for a while that it is alive. That is said from
the event loop, and only while sampler, core, outputs and loop keep their promises:
a thread that says so by itself would go on saying it beside a hung daemon.

Source: sd_notify(3), the protocol of NOTIFY_SOCKET.
"""

import contextlib
import os
import socket

from linetender.core.snapshot import Snapshot

ADDRESS_VARIABLE = "NOTIFY_SOCKET"


class ServiceManager:
    """The manager's end of the line.

    Args:
        address: Path of its socket; a leading `@` stands for the abstract namespace.
    """

    def __init__(self, address: str) -> None:
        self._address = "\0" + address[1:] if address.startswith("@") else address
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_NONBLOCK)
        self._is_ready = False
        self._status = ""

    def turn(self, stalled: tuple[str, ...], status: str) -> None:
        """Say that the daemon is alive, unless a part of it has stalled.

        Args:
            stalled: The parts that broke their promise.
            status: How things stand, in one line.
        """
        words = [] if stalled else ["WATCHDOG=1"]
        if not self._is_ready:
            self._is_ready = True
            words.append("READY=1")
        if stalled:
            status = f"{', '.join(stalled)} stalled; {status}"
        if status != self._status:
            self._status = status
            words.append(f"STATUS={status}")
        if words:
            self._send("\n".join(words))

    def stopping(self) -> None:
        """Say that the daemon ends on purpose; the last word."""
        self._send("STOPPING=1")
        self._socket.close()

    def _send(self, text: str) -> None:
        # Nothing may wait here, nor end the daemon: who is not heard is restarted.
        with contextlib.suppress(OSError):
            self._socket.sendto(text.encode(), self._address)


def service_manager() -> ServiceManager | None:
    """Return the manager that started this process and wants to hear from it, or None."""
    address = os.environ.get(ADDRESS_VARIABLE)
    return ServiceManager(address) if address else None


def standing(snapshot: Snapshot) -> str:
    """Say in one line how a station stands."""
    alarms = ", ".join(f"{alarm.rule} {alarm.state}" for alarm in snapshot.alarms)
    return f"{snapshot.stage}; {alarms or 'no alarm'}"
