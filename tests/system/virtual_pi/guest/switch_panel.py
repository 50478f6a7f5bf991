"""Eight input pins on an unchanged kernel, which hands of the bench move.

The kernel's own driver hid-cp2112 makes them of a USB bridge with eight pins and, by looking
at them every 40 ms, edges. The bridge is played here, through /dev/uhid.

Source: Linux, include/uapi/linux/uhid.h; drivers/hid/hid-cp2112.c (reports, ids).
"""

import os
import struct
from pathlib import Path
from threading import Thread

UHID = Path("/dev/uhid")
GET_REPORT, GET_REPORT_REPLY, CREATE2, SET_REPORT, SET_REPORT_REPLY = 9, 10, 11, 13, 14
EVENT_BYTES = 4380
BUS_USB, VENDOR, PRODUCT = 3, 0x10C4, 0xEA90
DESCRIPTOR = bytes.fromhex("0600ff 0901 a101 8502 0902 1500 26ff00 7508 9504 b102 c0")
"""One feature report of a vendor's own: the driver asks for all by number, described or not."""

PIN_DIRECTIONS, PIN_LEVELS, VERSION = 2, 3, 5
REPORT_BYTES = {PIN_DIRECTIONS: 5, PIN_LEVELS: 2, VERSION: 3, 6: 14, 0x20: 2}
ALL_UP = 0xFF
"""Nothing is wired: the pull-up resistors."""


class SwitchPanel:
    """Switches between pins and ground; all are open at first."""

    def __init__(self) -> None:
        self._levels = ALL_UP
        self._file = os.open(UHID, os.O_RDWR)
        created = struct.pack("<I128s64s64s", CREATE2, b"panel", b"", b"")
        created += struct.pack("<HHIIII", len(DESCRIPTOR), BUS_USB, VENDOR, PRODUCT, 0, 0)
        os.write(self._file, created + DESCRIPTOR)
        Thread(target=self._serve, daemon=True).start()

    def close_switch(self, pin: int) -> None:
        """Connect a pin to ground."""
        self._levels &= ~(1 << pin)

    def open_switch(self, pin: int) -> None:
        """Leave a pin to its pull-up."""
        self._levels |= 1 << pin

    def _serve(self) -> None:
        while True:
            event = os.read(self._file, EVENT_BYTES)
            kind, number, report = struct.unpack("<IIB", event[:9])
            if kind == GET_REPORT:
                data = bytes([report, *bytes(REPORT_BYTES.get(report, 64) - 1)])
                if report == PIN_LEVELS:
                    data = bytes([report, self._levels])
                answer = struct.pack("<IIHH", GET_REPORT_REPLY, number, 0, len(data)) + data
                os.write(self._file, answer)
            elif kind == SET_REPORT:
                os.write(self._file, struct.pack("<IIH", SET_REPORT_REPLY, number, 0))
