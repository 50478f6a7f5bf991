"""What an error of the Bluetooth library means, and what to do about it."""

from typing import Final

from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakCharacteristicNotFoundError,
    BleakDBusError,
    BleakError,
    BleakGATTProtocolError,
    BleakGATTProtocolErrorCode,
)

from linetender_drivers.errors import (
    DeviceNotFound,
    DeviceTimeout,
    DriverConfigError,
    DriverError,
    FailureReason,
)

RADIO_ERRORS: Final = (BleakError, OSError, EOFError)
"""What bleak raises: its own errors, and those of the D-Bus socket underneath."""

WANTS_PAIRING: Final = frozenset(
    {
        BleakGATTProtocolErrorCode.INSUFFICIENT_AUTHENTICATION,
        BleakGATTProtocolErrorCode.INSUFFICIENT_AUTHORIZATION,
        BleakGATTProtocolErrorCode.INSUFFICIENT_ENCRYPTION,
        BleakGATTProtocolErrorCode.INSUFFICIENT_ENCRYPTION_KEY_SIZE,
    }
)

NO_SERVICE: Final = (
    "the Bluetooth service is not there; start it with `sudo systemctl start bluetooth` "
    "(is the package bluez installed?)"
)
ADAPTER_OFF: Final = (
    "the Bluetooth adapter is off; `bluetoothctl power on`, and `rfkill list` shows "
    "whether it is blocked"
)
NO_ADAPTER: Final = (
    "there is no Bluetooth adapter that can reach oximeters; plug one in, or see "
    "`bluetoothctl list` and `rfkill list`"
)
NOT_ALLOWED: Final = (
    "this user may not use Bluetooth; add it to the group bluetooth with "
    "`sudo usermod -aG bluetooth $USER` and log in again"
)

_ABSENT_SERVICE = {
    "org.freedesktop.DBus.Error.ServiceUnknown",
    "org.freedesktop.DBus.Error.NameHasNoOwner",
    "org.freedesktop.DBus.Error.NoReply",
}
_GONE = {
    "org.freedesktop.DBus.Error.UnknownObject",
    "org.freedesktop.DBus.Error.UnknownMethod",
    "org.bluez.Error.DoesNotExist",
}


def radio_failure(where: str, error: BaseException) -> DriverError:
    """Turn an error of one Bluetooth call into the driver error that says what it means.

    Args:
        where: Address of the peer, or what was wanted of the radio.
        error: One of `RADIO_ERRORS`.
    """
    match error:
        case BleakBluetoothNotAvailableError():
            return _unavailable(where, error)
        case BleakCharacteristicNotFoundError():
            return DriverError(
                where,
                f"it has no characteristic {error.char_specifier}: another kind of device, "
                "or an oximeter that speaks its maker's own language",
                FailureReason.WRONG_DEVICE,
            )
        case BleakGATTProtocolError() if error.code in WANTS_PAIRING:
            return DriverConfigError(
                where, f"it wants to be paired first: `bluetoothctl pair {where}`, then `trust`"
            )
        case BleakDBusError():
            return _service_refusal(where, error)
        case TimeoutError():
            return DeviceTimeout(where, f"no answer by radio: {str(error) or 'too late'}")
        case EOFError():
            return DriverError(
                where, "the D-Bus daemon closed the connection: too many of this user's are open"
            )
        case OSError():
            return DeviceNotFound(where, f"{NO_SERVICE} ({error})", FailureReason.NO_ADAPTER)
    text = str(error)
    if "not found" in text:
        return DeviceNotFound(where, f"it has gone from the radio's list ({text})")
    return DriverError(where, f"the radio link failed: {text or type(error).__name__}")


def _unavailable(where: str, error: BleakBluetoothNotAvailableError) -> DriverError:
    match error.reason:
        case BleakBluetoothNotAvailableReason.POWERED_OFF:
            return DeviceNotFound(where, ADAPTER_OFF, FailureReason.ADAPTER_OFF)
        case BleakBluetoothNotAvailableReason.DENIED_BY_SYSTEM:
            return DriverConfigError(where, NOT_ALLOWED)
    return DeviceNotFound(where, NO_ADAPTER, FailureReason.NO_ADAPTER)


def _service_refusal(where: str, error: BleakDBusError) -> DriverError:
    name, text = error.dbus_error, str(error)
    if name in _ABSENT_SERVICE:
        return DeviceNotFound(where, NO_SERVICE, FailureReason.NO_ADAPTER)
    if name in _GONE:
        return DeviceNotFound(where, f"it has gone from the radio's list ({text})")
    if name == "org.bluez.Error.NotReady":
        return DeviceNotFound(where, ADAPTER_OFF, FailureReason.ADAPTER_OFF)
    if name == "org.freedesktop.DBus.Error.AccessDenied":
        return DriverConfigError(where, NOT_ALLOWED)
    if name == "org.bluez.Error.InProgress":
        return DriverError(where, f"the radio is busy with another program's request ({text})")
    return DriverError(where, f"the radio link failed: {text}")
