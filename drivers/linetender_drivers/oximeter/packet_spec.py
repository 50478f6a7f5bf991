"""What the station file may say of an oximeter whose packets a file describes."""

from pathlib import Path
from typing import Any

from pydantic import Field, field_validator

from linetender_drivers.oximeter.packet_file import load_packet_description
from linetender_drivers.registry import DeviceOptions, DriverSpec, Kind


class PacketOptions(DeviceOptions):
    """An oximeter with its maker's own packets.

    Attributes:
        address: `AA:BB:CC:DD:EE:FF`, or `only`, the only one in range that advertises
            the service described.
        description: The file that describes the packets, by its whole path.
    """

    address: str = Field(pattern=r"^([0-9A-F]{2}(:[0-9A-F]{2}){5}|only)$")
    description: str = Field(pattern=r"^/.+\.toml$")

    @field_validator("address", mode="before")
    @classmethod
    def _upper_case_address(cls, address: object) -> object:
        return address.upper() if isinstance(address, str) and ":" in address else address

    @field_validator("description")
    @classmethod
    def _can_be_used(cls, description: str) -> str:
        load_packet_description(Path(description))
        return description


def _provides(options: Any) -> frozenset[str]:
    return frozenset(load_packet_description(Path(options.description)).fields.numbers())


SPEC = DriverSpec(
    kind=Kind.SENSOR,
    options=PacketOptions,
    provides=_provides,
    open="linetender_drivers.oximeter.packet:open_packet_oximeter",
    summary="pulse oximeter with its maker's own Bluetooth packets, described in a file",
)
