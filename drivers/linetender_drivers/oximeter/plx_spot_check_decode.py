"""Bytes of the Bluetooth PLX Spot-Check Measurement characteristic (0x2A5E), to fields.

Pure. Little-endian throughout; 5 to 19 octets:
flags u8 | SpO2, pulse rate | [b0] time: year u16, month, day, hour, minute, second u8 |
[b1] measurement status u16 | [b2] device and sensor status u24 | [b3] pulse amplitude
index; b4 says that the device's clock is not set, b5 to b7 are reserved.

The status flags are one bit lower than those of the continuous measurement.

Source: Bluetooth SIG, GATT XML of `plx_spot_check_measurement`, 2015-07-14.
"""

import calendar

import msgspec

from linetender_drivers.oximeter.plx_decode import (
    MeasurementStatus,
    PlxFields,
    PulsePair,
    SensorStatus,
    Sfloat,
)

FIRST_YEAR, LAST_YEAR = 1582, 9999
"""Source: Bluetooth SIG, GATT characteristic Date Time (0x2A08): 0 is "not known"."""


class PlxSpotCheck(msgspec.Struct, frozen=True):
    """One spot-check measurement as sent; fields that were not sent are None.

    Attributes:
        time: Year, month, day, hour, minute, second of the device's own clock; a zero
            in year, month or day means "not known".
        is_clock_unset: The device says that its clock was never set.
    """

    normal: PulsePair
    time: tuple[int, int, int, int, int, int] | None = None
    measurement_status: MeasurementStatus | None = None
    sensor_status: SensorStatus | None = None
    pulse_amplitude_index_percent: Sfloat | None = None
    is_clock_unset: bool = False

    @property
    def device_time(self) -> float | None:
        """The device's own clock, s since 1970-01-01 in its unknown time zone.

        None when it was not sent, was never set, or is no date.
        """
        if self.time is None or self.is_clock_unset:
            return None
        year, month, day, hour, minute, second = self.time
        is_date = FIRST_YEAR <= year <= LAST_YEAR and 1 <= month <= 12
        if not is_date or not 1 <= day <= calendar.monthrange(year, month)[1]:
            return None
        if hour > 23 or minute > 59 or second > 59:
            return None
        return float(calendar.timegm((year, month, day, hour, minute, second)))


def decode_plx_spot_check(device: str, frame: bytes) -> PlxSpotCheck:
    """Decode one indication of 0x2A5E.

    Reserved flags and octets after the last field are ignored.

    Args:
        device: Name of the oximeter, for the error.
        frame: The indication's value.

    Raises:
        BadFrame: it is shorter than its flags say.
    """
    fields = PlxFields(device, frame)
    flags = fields.unsigned(1)
    return PlxSpotCheck(
        normal=fields.pair(),
        time=_time(fields) if flags & 0x01 else None,
        measurement_status=MeasurementStatus(fields.unsigned(2)) if flags & 0x02 else None,
        sensor_status=SensorStatus(fields.unsigned(3)) if flags & 0x04 else None,
        pulse_amplitude_index_percent=fields.sfloat() if flags & 0x08 else None,
        is_clock_unset=bool(flags & 0x10),
    )


def _time(fields: PlxFields) -> tuple[int, int, int, int, int, int]:
    year = fields.unsigned(2)
    month, day, hour, minute, second = (fields.unsigned(1) for _ in range(5))
    return year, month, day, hour, minute, second
