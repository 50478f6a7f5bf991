"""A USB device behind the kernel's own drivers: vhci-hcd is given one end of a socket.

Standard library only; needs root and the module vhci-hcd.

Source: Linux, Documentation/usb/usbip_protocol.rst; USB 2.0, chapter 9.
"""

import socket
import struct
from abc import ABC, abstractmethod
from pathlib import Path
from threading import Thread

CONTROLLER = Path("/sys/devices/platform/vhci_hcd.0")
FULL_SPEED = 2
STALL = -32
SUBMIT, UNLINK, RETURN_SUBMIT, RETURN_UNLINK = 1, 2, 3, 4
STANDARD_REQUEST_MASK = 0x60
GET_STATUS, GET_DESCRIPTOR = 0, 6


class UsbDevice(ABC):
    """One device with control transfers only.

    Args:
        port: Of the virtual host controller; each device has its own.
        vendor: USB vendor id.
        product: USB product id.
    """

    def __init__(self, port: int, vendor: int, product: int) -> None:
        self._device = struct.pack(
            "<BBHBBBBHHHBBBB", 18, 1, 0x0110, 0xFF, 0, 0, 8, vendor, product, 0x0205, 1, 2, 3, 1
        )
        self._configuration = struct.pack("<BBHBBBBB", 9, 2, 18, 1, 1, 0, 0x80, 50)
        self._configuration += struct.pack("<BBBBBBBBB", 9, 4, 0, 0, 0, 0xFF, 0, 0, 0)
        self._socket, kernels_end = socket.socketpair(socket.AF_UNIX, socket.SOCK_STREAM)
        text = f"{port} {kernels_end.fileno()} {0x10001 + port} {FULL_SPEED}"
        (CONTROLLER / "attach").write_text(text, encoding="ascii")
        kernels_end.close()
        Thread(target=self._serve, daemon=True).start()
        self._port = port

    def unplug(self) -> None:
        """Take the device away."""
        (CONTROLLER / "detach").write_text(str(self._port), encoding="ascii")

    @abstractmethod
    def control(self, kind: int, request: int, value: int, index: int, data: bytes | int) -> bytes:
        """Answer a request that is no standard one.

        Args:
            kind, request, value, index: As in the setup packet.
            data: What was sent or, for a read, how many bytes are wanted.
        """

    def _serve(self) -> None:
        try:
            while True:
                self._answer(self._receive(48))
        except OSError:
            return  # unplugged

    def _answer(self, head: bytes) -> None:
        command, number, _, is_in, _ = struct.unpack(">5I", head[:20])
        if command == UNLINK:
            self._socket.sendall(struct.pack(">5Ii24x", RETURN_UNLINK, number, 0, 0, 0, 0))
            return
        _, length = struct.unpack(">Ii", head[20:28])
        sent = self._receive(length) if not is_in and length > 0 else b""
        status, reply = self._requested(head[40:48], sent)
        moved = reply[:length] if is_in else b""
        count = 0 if status else (len(moved) if is_in else len(sent))
        answer = struct.pack(">5Iiiiii8x", RETURN_SUBMIT, number, 0, 0, 0, status, count, 0, 0, 0)
        self._socket.sendall(answer + moved)

    def _requested(self, setup: bytes, sent: bytes) -> tuple[int, bytes]:
        kind, request, value, index, length = struct.unpack("<BBHHH", setup)
        if kind & STANDARD_REQUEST_MASK == 0:
            return self._standard(request, value)
        return 0, self.control(kind, request, value, index, length if kind & 0x80 else sent)

    def _standard(self, request: int, value: int) -> tuple[int, bytes]:
        if request == GET_STATUS:
            return 0, b"\0\0"
        if request != GET_DESCRIPTOR:
            return 0, b""  # SET_ADDRESS, SET_CONFIGURATION
        match value >> 8, value & 0xFF:
            case 1, _:
                return 0, self._device
            case 2, _:
                return 0, self._configuration
            case 3, 0:
                return 0, b"\x04\x03\x09\x04"
            case 3, _:
                text = "virtual".encode("utf-16le")
                return 0, bytes([len(text) + 2, 3]) + text
        return STALL, b""

    def _receive(self, length: int) -> bytes:
        received = b""
        while len(received) < length:
            more = self._socket.recv(length - len(received))
            if not more:
                raise ConnectionResetError
            received += more
        return received
