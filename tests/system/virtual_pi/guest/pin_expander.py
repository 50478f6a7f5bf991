"""Sixteen output pins on an unchanged kernel, and every edge on them written down.

A process of its own: the one that drives pins holds a lock in the kernel meanwhile.
Arguments: the file for levels, rewritten whole at each change, and the file for edges,
one line each: monotonic seconds, pin, level.

Source: Linux, drivers/gpio/gpio-viperboard.c.
"""

import os
import sys
import time
from pathlib import Path
from queue import SimpleQueue

from usb_over_ip import UsbDevice

VENDOR, PRODUCT = 0x2058, 0x1005
VERSION_REQUESTS = (0xEA, 0xEB)
PINS_A = 0xED
SET_OUTPUT = 3
PINS = 16


class PinExpander(UsbDevice):
    """The expander; `edges` receives (instant in s, pin, level)."""

    def __init__(self, port: int = 4) -> None:
        self.edges: SimpleQueue[tuple[float, int, int]] = SimpleQueue()
        self._last = bytes(11)
        super().__init__(port, VENDOR, PRODUCT)

    def control(self, kind: int, request: int, value: int, index: int, data: bytes | int) -> bytes:
        """Answer the expander's requests."""
        if request in VERSION_REQUESTS:
            return b"\1"
        if isinstance(data, int):
            is_pins = request == PINS_A
            return self._last[:9] + b"\0" + self._last[10:] if is_pins else bytes(data)
        if request == PINS_A:
            self._last = data
            if data[0] == SET_OUTPUT:
                self.edges.put((time.monotonic(), data[2], data[7]))
        return b""


def main(levels_file: Path, edges_file: Path) -> None:
    """Serve for ever."""
    expander = PinExpander()
    levels = [0] * PINS
    new = levels_file.with_suffix(".new")
    with edges_file.open("a", encoding="ascii", buffering=1) as edges:
        while True:
            new.write_text(" ".join(map(str, levels)), encoding="ascii")
            os.replace(new, levels_file)
            at_s, pin, level = expander.edges.get()
            if level != levels[pin]:
                levels[pin] = level
                edges.write(f"{at_s:.3f} {pin} {level}\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
