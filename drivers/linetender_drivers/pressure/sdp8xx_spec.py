"""The SDP8xx and SDP3x sensors for the registry. Loads no hardware library."""

from typing import Literal

from pydantic import Field

from linetender_drivers.i2c_options import I2cOptions
from linetender_drivers.registry import DriverSpec, Kind
from linetender_drivers.signal_roles import PRESSURE_SIGNALS, TEMPERATURE_SIGNAL

Mode = Literal["differential", "mass_flow"]


class Sdp8xxOptions(I2cOptions):
    """Where the sensor is and how it is read.

    Attributes:
        bus: Device node of its I2C bus, e.g. `/dev/i2c-1`, or `simulated`.
        address: 7-bit; 0x25 for SDP800 and SDP810, 0x26 for SDP801 and SDP811,
            0x21 to 0x23 for SDP3x.
        product: If given, the one part to accept.
        mode: What the chip's temperature compensation is to hold true: the `differential`
            pressure, or the `mass_flow` through the bypass that it is plumbed to.
        average: Whether a reading is the mean of all that the chip measured since the one
            before, every 0.5 ms; else the latest alone.
        period_s: Time between two readings, s.
    """

    address: Literal[0x21, 0x22, 0x23, 0x25, 0x26] = 0x25
    product: (
        Literal[
            "SDP800-500Pa",
            "SDP801-500Pa",
            "SDP810-500Pa",
            "SDP811-500Pa",
            "SDP800-125Pa",
            "SDP810-125Pa",
            "SDP31-500Pa",
            "SDP32-125Pa",
            "SDP33-1500Pa",
        ]
        | None
    ) = None
    mode: Mode = "differential"
    average: bool = True
    period_s: float = Field(default=0.04, ge=0.01, le=1.0)


def _provides(_: Sdp8xxOptions) -> frozenset[str]:
    return PRESSURE_SIGNALS | {TEMPERATURE_SIGNAL}


SPEC = DriverSpec(
    kind=Kind.SENSOR,
    options=Sdp8xxOptions,
    provides=_provides,
    open="linetender_drivers.pressure.sdp8xx:open_sdp8xx",
    probe="linetender_drivers.pressure.sdp8xx_probe:PROBES",
    decode="linetender_drivers.pressure.sdp8xx:decode_sdp8xx",
    summary="SDP8xx or SDP3x differential-pressure sensor on I2C",
)
