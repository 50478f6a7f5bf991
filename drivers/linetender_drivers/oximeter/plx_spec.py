"""What the station file may say of an oximeter with the Bluetooth PLX service."""

from typing import Literal

from pydantic import Field, field_validator

from linetender_drivers.registry import DeviceOptions, DriverSpec, Kind
from linetender_drivers.simulated_place import SIMULATED_PATTERN, is_simulated

PLX_SIGNALS = frozenset(
    {
        "spo2_percent",
        "pulse_rate_bpm",
        "pulse_amplitude_index_percent",
        "oximeter_battery_percent",
    }
)


class PlxOptions(DeviceOptions):
    """An oximeter, found by its Bluetooth address.

    Attributes:
        address: `AA:BB:CC:DD:EE:FF`; or `only`, the only oximeter in range; or
            `simulated` or `simulated:DIR`. Names change while connected and are shared
            by all oximeters of a make; the address is not.
        measurement: `continuous`, sent about once a second; or `spot_check`, sent when
            the oximeter has finished a measurement.
    """

    address: str = Field(
        pattern=rf"^([0-9A-F]{{2}}(:[0-9A-F]{{2}}){{5}}|only|{SIMULATED_PATTERN})$"
    )
    measurement: Literal["continuous", "spot_check"] = "continuous"

    @field_validator("address", mode="before")
    @classmethod
    def _upper_case_address(cls, address: object) -> object:
        is_radio = isinstance(address, str) and ":" in address and not is_simulated(address)
        return str(address).upper() if is_radio else address

    @property
    def place(self) -> str:
        """The radio address."""
        return self.address


def _provides(_options: PlxOptions) -> frozenset[str]:
    return PLX_SIGNALS


SPEC = DriverSpec(
    kind=Kind.SENSOR,
    options=PlxOptions,
    provides=_provides,
    open="linetender_drivers.oximeter.plx:open_oximeter",
    decode="linetender_drivers.oximeter.plx:decode_oximeter",
    summary="pulse oximeter with the Bluetooth PLX service (0x1822): SpO2 and pulse rate",
)
