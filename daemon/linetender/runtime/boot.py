"""Which boot of the machine this is."""

from hashlib import sha256
from pathlib import Path

UNKNOWN_BOOT = "unknown"

_BOOT_ID = Path("/proc/sys/kernel/random/boot_id")


def boot_hash() -> str:
    """Return the kernel's boot id, hashed so that a recording does not name the machine."""
    try:
        boot_id = _BOOT_ID.read_text(encoding="ascii").strip()
    except OSError:
        return UNKNOWN_BOOT
    return sha256(f"linetender {boot_id}".encode()).hexdigest()[:16]
