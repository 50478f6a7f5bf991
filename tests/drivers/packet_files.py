"""Packet descriptions for tests: the shipped examples, and frames in their layouts."""

from pathlib import Path

from linetender_drivers.oximeter.packet_description import PacketDescription
from linetender_drivers.oximeter.packet_file import load_packet_description

PACKETS = Path(__file__).resolve().parents[2] / "config" / "packets"
FRAMED = PACKETS / "invented_framed.toml"
PLAIN = PACKETS / "invented_plain.toml"

FINGER_OUT, LOW_SIGNAL = 0x01, 0x02


def framed() -> PacketDescription:
    """Return the description of the framed example."""
    return load_packet_description(FRAMED)


def _crc8(octets: bytes) -> int:
    """Divide by x^8 + x^2 + x + 1 as polynomials over GF(2): long division, no table."""
    rest = int.from_bytes(octets, "big") << 8
    for place in range(rest.bit_length() - 9, -1, -1):
        if rest >> (place + 8) & 1:
            rest ^= 0x107 << place
    return rest


def framed_frame(
    spo2: int, pulse: int, *, flags: int = 0, kind: int = 0x2D, battery: int = 2
) -> bytes:
    """Return a frame of the framed example, as its comment describes it."""
    last = pulse >> 4 & 0x0C | battery
    body = bytes([0xC9, 0x35, 9, kind, flags, spo2, pulse & 0x3F, last])
    return body + bytes([_crc8(body)])
