"""Which boot of the machine this is."""

import time
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import NamedTuple

UNKNOWN_BOOT = "unknown"

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


class Boot(NamedTuple):
    """The boot in which a station runs; the age of what it kept is told by that.

    Attributes:
        name: Another one for each boot, hashed.
        machine_ns: Its machine's monotonic clock (ns).
    """

    name: str
    machine_ns: Callable[[], int]


def this_boot() -> Boot:
    """Return the boot of this computer."""
    return Boot(boot_hash(), time.monotonic_ns)


def boot_hash() -> str:
    """Return the kernel's boot id, hashed so that a recording does not name the machine."""
    try:
        boot_id = _BOOT_ID.read_text(encoding="ascii").strip()
    except OSError:
        return UNKNOWN_BOOT
    return sha256(f"linetender {boot_id}".encode()).hexdigest()[:16]
