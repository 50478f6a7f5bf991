"""An I2C bus with raw transfers: the kernel's i2c-tiny-usb, the project's simulated chips.

Source: Linux, drivers/i2c/busses/i2c-tiny-usb.c (requests, ids, status).
"""

import struct
import time
from collections.abc import Callable
from pathlib import Path
from threading import Lock

from usb_over_ip import UsbDevice

from linetender_drivers.simulated.i2c_bus import NotAcknowledged, SimulatedChip

VENDOR, PRODUCT = 0x0403, 0xC631
ECHO, GET_FUNCTIONS, SET_DELAY, GET_STATUS = 0, 1, 2, 3
FUNCTIONS = 0x1 | 0x0EFF0008  # raw transfers; SMBus emulated by them
READ_FLAG = 1
ACKNOWLEDGED, REFUSED = 1, 2
ADAPTERS = Path("/sys/bus/i2c/devices")


class I2cAdapter(UsbDevice):
    """The adapter and what is wired to it.

    Attributes:
        chips: By address. Change it at any time: a chip that is taken out is unplugged.
        refuses: Asked at each transfer: whether nobody acknowledges it.
        number: The N of /dev/i2c-N.
    """

    def __init__(self, chips: dict[int, SimulatedChip], port: int = 0) -> None:
        self.chips = chips
        self.refuses: Callable[[], bool] = lambda: False
        self._status = 0
        self._lock = Lock()
        before = set(ADAPTERS.iterdir())
        super().__init__(port, VENDOR, PRODUCT)
        self.number = self._appeared(before)

    def control(self, kind: int, request: int, value: int, index: int, data: bytes | int) -> bytes:
        """Answer the adapter's requests."""
        if request == ECHO:
            return struct.pack("<H", value)
        if request == GET_FUNCTIONS:
            return struct.pack("<I", FUNCTIONS)
        if request == GET_STATUS:
            return bytes([self._status])
        if 4 <= request <= 7:  # a transfer, with or without start and stop
            return self._transfer(index, data)
        return b""

    def _transfer(self, address: int, data: bytes | int) -> bytes:
        chip = self.chips.get(address)
        self._status = REFUSED
        length = data if isinstance(data, int) else 0
        if chip is None or self.refuses():
            return bytes(length)
        try:
            with self._lock:
                if isinstance(data, bytes):
                    chip.write(data, time.monotonic_ns())
                    answer = b""
                else:
                    answer = chip.read(length, time.monotonic_ns())
        except NotAcknowledged:
            return bytes(length)
        self._status = ACKNOWLEDGED
        return answer

    def _appeared(self, before: set[Path]) -> int:
        end = time.monotonic() + 30
        while time.monotonic() < end:
            for path in set(ADAPTERS.iterdir()) - before:
                is_ours = path.name.startswith("i2c-") and (
                    (path / "name").read_text(encoding="ascii").startswith("i2c-tiny-usb")
                )
                if is_ours and Path(f"/dev/{path.name}").exists():
                    return int(path.name.removeprefix("i2c-"))
            time.sleep(0.05)
        raise TimeoutError("no I2C adapter appeared")
