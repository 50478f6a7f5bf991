"""How every verb ends; programs that call linetender may rely on these numbers."""

from enum import IntEnum


class ExitCode(IntEnum):
    """The exit status of the process."""

    FINE = 0
    FINDINGS = 1
    """The verb did its work and has something to say: findings, or differences."""
    USAGE = 2
    """The command line was not understood."""
    BAD_FILE = 3
    """A station file or recording is missing, garbled or refused."""
    DEVICE = 4
    """A device is missing, is another part than configured, or does not answer."""
    ALREADY_RUNNING = 5
    """Another linetender has the station's devices."""
    FAULT = 70
    """A mistake in linetender itself (the number is EX_SOFTWARE of BSD's sysexits.h)."""
