"""What an oximeter says of itself: maker, model, firmware, and what it can tell.

Every part of it is optional; an oximeter that does not answer is not refused for it.
"""

from typing import Final

import msgspec

from linetender_drivers.contracts import NotificationLink
from linetender_drivers.errors import DriverError
from linetender_drivers.oximeter.plx_features_decode import PlxFeatures, decode_plx_features

PLX_FEATURES: Final = "00002a60-0000-1000-8000-00805f9b34fb"
MANUFACTURER_NAME: Final = "00002a29-0000-1000-8000-00805f9b34fb"
MODEL_NUMBER: Final = "00002a24-0000-1000-8000-00805f9b34fb"
FIRMWARE_REVISION: Final = "00002a26-0000-1000-8000-00805f9b34fb"
"""Source: Bluetooth SIG Assigned Numbers, 0x2A60, 0x2A29, 0x2A24 and 0x2A26."""


class OximeterDescription(msgspec.Struct, frozen=True):
    """What an oximeter says of itself; None is what it does not say."""

    maker: str | None = None
    model: str | None = None
    firmware: str | None = None
    features: PlxFeatures | None = None


async def read_description(device: str, link: NotificationLink) -> OximeterDescription:
    """Ask an oximeter over an open link who it is.

    Args:
        device: Its name in the station file.
        link: An open link.
    """
    return OximeterDescription(
        maker=await _text(link, MANUFACTURER_NAME),
        model=await _text(link, MODEL_NUMBER),
        firmware=await _text(link, FIRMWARE_REVISION),
        features=await _features(device, link),
    )


async def _text(link: NotificationLink, characteristic: str) -> str | None:
    try:
        value = await link.value(characteristic)
    except DriverError:
        return None
    if value is None:
        return None
    text = value.decode("utf-8", errors="replace").strip("\0 ")
    return "".join(letter for letter in text if letter.isprintable()) or None


async def _features(device: str, link: NotificationLink) -> PlxFeatures | None:
    try:
        value = await link.value(PLX_FEATURES)
        return None if value is None else decode_plx_features(device, value)
    except DriverError:
        return None
