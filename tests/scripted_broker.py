"""A broker by script: takes connections and confirms only what a test tells it to.

Just enough of MQTT 5 (OASIS standard, sections 2.1, 3.1 to 3.4 and 3.14) to read
publishes and to answer them, so that a test can decide what is lost and when.
"""

import socket
from types import TracebackType
from typing import NamedTuple

_CONNECT, _PUBLISH, _DISCONNECT = 1, 3, 14
_CONNACK_ACCEPTED = bytes([0x20, 3, 0, 0, 0])
_PATIENCE_S = 20.0


class Packet(NamedTuple):
    """A control packet: its type, the flags of its first byte and what follows."""

    kind: int
    flags: int
    body: bytes


class Publish(NamedTuple):
    """A publish as it came; `mid` is 0 with QoS 0."""

    topic: str
    payload: bytes
    mid: int
    again: bool


class Peer:
    """One accepted connection."""

    def __init__(self, connection: socket.socket) -> None:
        self._socket = connection
        self._socket.settimeout(_PATIENCE_S)

    def publish(self) -> Publish:
        """Wait for the next publish."""
        packet = self.packet()
        assert packet.kind == _PUBLISH, packet
        body, qos = packet.body, packet.flags >> 1 & 3
        after_topic = 2 + int.from_bytes(body[:2], "big")
        after_mid = after_topic + (2 if qos else 0)
        mid = int.from_bytes(body[after_topic:after_mid], "big")
        # Properties of a publish of ours are shorter than 128 bytes: one byte of length.
        payload = body[after_mid + 1 + body[after_mid] :]
        return Publish(body[2:after_topic].decode(), payload, mid, bool(packet.flags & 8))

    def confirm(self, publish: Publish) -> None:
        """Send the PUBACK of a publish: success."""
        self._socket.sendall(bytes([0x40, 2]) + publish.mid.to_bytes(2, "big"))

    def send(self, topic: bytes, payload: bytes) -> None:
        """Send a short publish with QoS 0, whatever its topic is made of."""
        body = len(topic).to_bytes(2, "big") + topic + b"\0" + payload
        self._socket.sendall(bytes([_PUBLISH << 4, len(body)]) + body)

    def disconnect_reason(self) -> int:
        """Wait for the DISCONNECT, passing over all else, and return its reason code."""
        while (packet := self.packet()).kind != _DISCONNECT:
            pass
        return packet.body[0] if packet.body else 0

    def packet(self) -> Packet:
        """Wait for the next packet."""
        first = self._bytes(1)[0]
        length = shift = 0
        while True:
            digit = self._bytes(1)[0]
            length |= (digit & 0x7F) << shift
            if digit < 0x80:
                return Packet(first >> 4, first & 0x0F, self._bytes(length))
            shift += 7

    def close(self) -> None:
        """Cut the connection."""
        self._socket.close()

    def _bytes(self, count: int) -> bytes:
        found = b""
        while len(found) < count:
            more = self._socket.recv(count - len(found))
            assert more, f"connection closed, {found!r} read"
            found += more
        return found


class ScriptedBroker:
    """Listens on a free port of the loopback interface; use it in a `with` statement."""

    def __init__(self) -> None:
        self._server = socket.create_server(("127.0.0.1", 0))
        self._server.settimeout(_PATIENCE_S)
        self.port: int = self._server.getsockname()[1]
        self._peers: list[Peer] = []

    def accept(self) -> Peer:
        """Wait for a connection and accept its CONNECT."""
        connection, _ = self._server.accept()
        peer = Peer(connection)
        self._peers.append(peer)
        assert peer.packet().kind == _CONNECT
        connection.sendall(_CONNACK_ACCEPTED)
        return peer

    def __enter__(self) -> "ScriptedBroker":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for peer in self._peers:
            peer.close()
        self._server.close()
