"""The remote device as the emulated Bluetooth service sees it, with its faults."""

from dataclasses import dataclass, field

from bluez.names import Refusal, uuid

PLX, BATTERY_SERVICE, DEVICE_INFORMATION = uuid(0x1822), uuid(0x180F), uuid(0x180A)
SPOT_CHECK, CONTINUOUS, FEATURES = uuid(0x2A5E), uuid(0x2A5F), uuid(0x2A60)
BATTERY_LEVEL, MAKER, MODEL, FIRMWARE = uuid(0x2A19), uuid(0x2A29), uuid(0x2A24), uuid(0x2A26)

FIRST_HANDLE = 0x000A


@dataclass
class Characteristic:
    """One characteristic.

    Attributes:
        uuid: 128 bits, lower case.
        flags: What BlueZ says may be done with it: read, write, notify, indicate.
        value: What reading gives.
        read_refusal: Why reading fails.
        notify_refusal: Why subscribing fails.
        path: On the bus.
        written: What was written to it, in order.
        subscribers: Clients of the bus that want its notifications.
    """

    uuid: str
    flags: tuple[str, ...]
    value: bytes = b""
    read_refusal: Refusal | None = None
    notify_refusal: Refusal | None = None
    path: str = ""
    written: list[bytes] = field(default_factory=list)
    subscribers: set[str] = field(default_factory=set)


@dataclass
class Peripheral:
    """A remote device. Tests set its attributes at any time.

    Attributes:
        address: Upper case.
        name: Advertised name.
        services: Characteristics by the UUID of their service.
        is_advertising: Whether scans hear it, while it is not connected.
        is_paired: Whether this computer has paired it.
        advertised: UUIDs of services that it advertises.
        connect_refusals: Errors that connecting gives, one a call.
        never_connects: Connecting gives no answer at all.
        never_resolves: Connected, but its services are never found.
        drops_in_discovery: How many more times the link drops before they are.
        is_connected: Whether the link is up.
        path: On the bus.
    """

    address: str
    name: str
    services: dict[str, list[Characteristic]]
    is_advertising: bool = True
    is_paired: bool = False
    advertised: tuple[str, ...] = (PLX,)
    connect_refusals: list[Refusal] = field(default_factory=list)
    never_connects: bool = False
    never_resolves: bool = False
    drops_in_discovery: int = 0
    is_connected: bool = False
    path: str = ""

    def attach(self, adapter_path: str) -> None:
        """Give it and its characteristics their places on the bus."""
        self.path = f"{adapter_path}/dev_{self.address.replace(':', '_')}"
        handle = FIRST_HANDLE
        for characteristics in self.services.values():
            service_path = f"{self.path}/service{handle:04x}"
            for each in characteristics:
                each.path = f"{service_path}/char{handle + 1:04x}"
                handle += 3
            handle += 1

    def all_characteristics(self) -> tuple[Characteristic, ...]:
        """Return those of all services."""
        return tuple(each for service in self.services.values() for each in service)

    def characteristic(self, wanted: str) -> Characteristic:
        """Return the one with a UUID."""
        return next(each for each in self.all_characteristics() if each.uuid == wanted)


def oximeter(address: str = "C0:FF:EE:00:18:22", name: str = "finger clip") -> Peripheral:
    """Return an oximeter with the standard services; maker and model are invented."""
    return Peripheral(
        address,
        name,
        {
            DEVICE_INFORMATION: [
                Characteristic(MAKER, ("read",), b"Invented Maker"),
                Characteristic(MODEL, ("read",), b"CLIP-1\0"),
                Characteristic(FIRMWARE, ("read",), b"1.0"),
            ],
            BATTERY_SERVICE: [Characteristic(BATTERY_LEVEL, ("read", "notify"), b"\x57")],
            PLX: [
                Characteristic(FEATURES, ("read",), bytes.fromhex("4300e0ffffff00")),
                Characteristic(SPOT_CHECK, ("indicate",)),
                Characteristic(CONTINUOUS, ("notify",)),
            ],
        },
    )


def thermometer(address: str = "C0:FF:EE:00:18:09") -> Peripheral:
    """Return something that is no oximeter."""
    services = {uuid(0x1809): [Characteristic(uuid(0x2A1C), ("indicate",))]}
    return Peripheral(address, "thermometer", services, advertised=(uuid(0x1809),))
