"""Names on the bus, and the refusals that go with them.

Source: BlueZ, doc/org.bluez.*.rst; which of them bleak uses was read in bleak 3.1.
"""

OBJECT_MANAGER = "org.freedesktop.DBus.ObjectManager"
PROPERTIES = "org.freedesktop.DBus.Properties"
ADAPTER = "org.bluez.Adapter1"
DEVICE = "org.bluez.Device1"
BATTERY = "org.bluez.Battery1"
SERVICE = "org.bluez.GattService1"
CHARACTERISTIC = "org.bluez.GattCharacteristic1"

UNKNOWN_OBJECT = "org.freedesktop.DBus.Error.UnknownObject"
UNKNOWN_METHOD = "org.freedesktop.DBus.Error.UnknownMethod"


class Refusal(Exception):
    """An error reply.

    Attributes:
        name: Its name; one without a dot is one of BlueZ's own.
        text: Its text.
    """

    def __init__(self, name: str, text: str) -> None:
        super().__init__(name, text)
        self.name = name if "." in name else f"org.bluez.Error.{name}"
        self.text = text


def uuid(short: int) -> str:
    """Return a 16-bit UUID in full, in lower case."""
    return f"0000{short:04x}-0000-1000-8000-00805f9b34fb"
