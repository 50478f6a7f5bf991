"""What can go wrong with a device. A failed read is an error, never a number."""

from enum import StrEnum


class FailureReason(StrEnum):
    """Why a device gave no value; the word that a bad reading carries."""

    NOT_FOUND = "not_found"
    """Nothing answers: unplugged, wrong address, out of radio range."""
    WRONG_DEVICE = "wrong_device"
    """Something answers, but it is another part than the one configured."""
    AMBIGUOUS = "ambiguous"
    """Several devices answer where the station file expects one."""
    NO_ADAPTER = "no_adapter"
    """The computer has no radio, or the service that drives it is not running."""
    ADAPTER_OFF = "adapter_off"
    """The computer's radio is switched off."""
    NACK = "nack"
    """The chip refused a byte: busy, absent or badly wired."""
    BUS_ERROR = "bus_error"
    TIMEOUT = "timeout"
    """No answer in time, or a call that never returned."""
    BAD_CRC = "bad_crc"
    BAD_FRAME = "bad_frame"
    """Bytes of the wrong length or with impossible contents."""
    OUT_OF_RANGE = "out_of_range"
    """A value the device cannot measure."""
    CLOSED = "closed"
    CONFIG = "config"


class DriverError(Exception):
    """Base of all driver errors.

    Attributes:
        device: Name of the device, or its place on the bus.
        reason: The word for machines.
    """

    reason = FailureReason.BUS_ERROR

    def __init__(self, device: str, message: str, reason: FailureReason | None = None) -> None:
        super().__init__(f"{device}: {message}")
        self.device = device
        if reason is not None:
            self.reason = reason


class DeviceNotFound(DriverError):
    """The device is not there.

    Example scenarios: the plug has come off; the address in the station file is
    another chip's; the oximeter is switched off.
    """

    reason = FailureReason.NOT_FOUND


class DeviceTimeout(DriverError, TimeoutError):
    """The device did not answer in time.

    Example scenarios: a line of the bus is held low; the kernel driver hangs; the
    oximeter's link is up but silent.
    """

    reason = FailureReason.TIMEOUT


class BadFrame(DriverError):
    """The device answered with bytes that cannot be trusted.

    Example scenarios: a flipped bit fails its CRC; a dead bus reads all zeros; a
    notification is cut short.

    Attributes:
        frame: The bytes as they came.
    """

    reason = FailureReason.BAD_FRAME

    def __init__(
        self, device: str, message: str, frame: bytes, reason: FailureReason | None = None
    ) -> None:
        super().__init__(device, f"{message} (bytes {frame.hex(' ') or 'none'})", reason)
        self.frame = frame


class DriverConfigError(DriverError, ValueError):
    """The station file asks for something the device cannot do.

    Example scenarios: an address the part cannot have; a pin number used twice.
    """

    reason = FailureReason.CONFIG
