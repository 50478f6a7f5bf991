"""Bytes of the Bluetooth PLX Features characteristic (0x2A60): what an oximeter can tell.

Pure. Little-endian, 2 to 7 octets: features u16 | [b0] supported measurement status u16 |
[b1] supported device and sensor status u24.

Source: Bluetooth SIG, GATT specification of `plx_features` (its web viewer).
"""

from enum import IntFlag

import msgspec

from linetender_drivers.oximeter.plx_decode import MeasurementStatus, PlxFields, SensorStatus


class PlxFeature(IntFlag):
    """What the oximeter supports; bits 8 to 15 are reserved."""

    MEASUREMENT_STATUS = 1 << 0
    SENSOR_STATUS = 1 << 1
    STORED_SPOT_CHECKS = 1 << 2
    SPOT_CHECK_TIME = 1 << 3
    FAST = 1 << 4
    SLOW = 1 << 5
    PULSE_AMPLITUDE_INDEX = 1 << 6
    MULTIPLE_BONDS = 1 << 7


class PlxFeatures(msgspec.Struct, frozen=True):
    """What the oximeter supports; a status that it never sends is None.

    An oximeter without the sensor status cannot say that the finger is out.
    """

    features: PlxFeature
    measurement_status: MeasurementStatus | None = None
    sensor_status: SensorStatus | None = None


def decode_plx_features(device: str, value: bytes) -> PlxFeatures:
    """Decode the value of 0x2A60.

    Args:
        device: Name of the oximeter, for the error.
        value: The characteristic's value.

    Raises:
        BadFrame: it is shorter than its bits say.
    """
    fields = PlxFields(device, value)
    features = PlxFeature(fields.unsigned(2))
    has_measurement = PlxFeature.MEASUREMENT_STATUS in features
    has_sensor = PlxFeature.SENSOR_STATUS in features
    return PlxFeatures(
        features=features,
        measurement_status=MeasurementStatus(fields.unsigned(2)) if has_measurement else None,
        sensor_status=SensorStatus(fields.unsigned(3)) if has_sensor else None,
    )
