"""What an I2C error number means. The real and the simulated bus share it."""

import errno
import os

from linetender_drivers.errors import (
    DeviceNotFound,
    DeviceTimeout,
    DriverConfigError,
    DriverError,
    FailureReason,
)

DEADLINE_S = 0.5
"""A transfer that has not ended by then has failed (chosen: 18 bytes take 2 ms at
100 kHz, the kernel's own limit is set to 0.1 s, and half a second of blindness leaves
a loss-of-air delay of 2 s its time)."""

REFUSALS = frozenset({errno.EREMOTEIO, errno.ENXIO, errno.EAGAIN})
"""Not acknowledged, and arbitration lost: nothing was transferred, and the next attempt
may pass. A time-out is none: trying again would cost its time again."""


def place(bus: str, address: int) -> str:
    """Name a device by where it is wired, e.g. `/dev/i2c-1 0x25`."""
    return f"{bus} 0x{address:02x}"


def transfer_failure(where: str, error: OSError) -> DriverError:
    """Turn the OSError of one transfer into the driver error that tells what it means.

    Source: Linux kernel, Documentation/i2c/fault-codes.rst.
    """
    match error.errno:
        case errno.EREMOTEIO | errno.ENXIO:
            return DriverError(
                where,
                "the chip did not acknowledge: absent, busy, or badly wired",
                FailureReason.NACK,
            )
        case errno.ETIMEDOUT:
            return DeviceTimeout(
                where, "the bus timed out: a chip holds a line low, or a pull-up is missing"
            )
        case errno.EAGAIN:
            return DriverError(
                where, "arbitration lost: a second master or noise drives the bus lines"
            )
        case errno.ENODEV:
            return DeviceNotFound(where, "the bus itself has gone from the machine")
    number = error.errno or 0
    return DriverError(
        where, f"the bus failed: {os.strerror(number)} ({errno.errorcode.get(number, number)})"
    )


def opening_failure(bus: str, error: OSError) -> DriverError:
    """Turn the OSError of opening a bus into the driver error that says what to do."""
    match error.errno:
        case errno.ENOENT | errno.ENODEV | errno.ENXIO:
            return DeviceNotFound(
                bus,
                "there is no such bus; enable I2C (on a Raspberry Pi: `sudo raspi-config "
                "nonint do_i2c 0`, then restart), load `i2c-dev`, and look for the right "
                "number with `ls /dev/i2c-*`",
            )
        case errno.EACCES | errno.EPERM:
            return DriverConfigError(
                bus,
                "this user may not open the bus; add it to the group i2c with "
                "`sudo usermod -aG i2c $USER` and log in again",
            )
    return DriverError(bus, f"the bus cannot be opened: {error.strerror or error}")


def already_owned(bus: str) -> DriverConfigError:
    """The error for a bus that another program holds."""
    return DriverConfigError(
        bus,
        "another program owns this bus; two on one bus garble each other's transfers. "
        "Stop the other one (is linetender running as a service?)",
    )


def never_returned(where: str, deadline_s: float) -> DeviceTimeout:
    """The error for a transfer whose call is still not back at its deadline (s)."""
    return DeviceTimeout(where, f"the transfer has not returned after {deadline_s:g} s")
