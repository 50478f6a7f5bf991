"""The CRC-8 that sensors of several makers put after each 16-bit word. Pure.

Polynomial 0x31, nothing reflected, no final XOR. Most start from 0xFF; some from 0.
"""

from linetender_drivers.errors import BadFrame, FailureReason


def _crc8_of_byte(value: int) -> int:
    for _ in range(8):
        value = (value << 1) ^ 0x31 if value & 0x80 else value << 1
    return value & 0xFF


_CRC8 = tuple(_crc8_of_byte(value) for value in range(256))


def crc8(data: bytes, start: int = 0xFF) -> int:
    """Return the CRC-8 of some bytes: polynomial 0x31, nothing reflected."""
    crc = start
    for byte in data:
        crc = _CRC8[crc ^ byte]
    return crc


def with_crcs(data: bytes) -> bytes:
    """Put the CRC after each 16-bit word of an even number of bytes."""
    made = bytearray()
    for start in range(0, len(data), 2):
        first, second = data[start], data[start + 1]
        made += bytes((first, second, _CRC8[_CRC8[0xFF ^ first] ^ second]))
    return bytes(made)


def checked_words(frame: bytes, length: int, device: str) -> bytes:
    """Return the words of a frame without their CRCs.

    Args:
        frame: Words of two bytes, each followed by its CRC.
        length: How many bytes the frame must have.
        device: Name for the error.

    Raises:
        BadFrame: wrong length (reason `bad_frame`), or a CRC that does not match
            (reason `bad_crc`).
    """
    if len(frame) != length:
        raise BadFrame(device, f"expected {length} bytes, got {len(frame)}", frame)
    words = b""
    for start in range(0, length, 3):
        # As crc8 does, without a call: this is what every reading of these chips goes through.
        if _CRC8[_CRC8[0xFF ^ frame[start]] ^ frame[start + 1]] != frame[start + 2]:
            raise BadFrame(
                device, f"CRC of word {start // 3} does not match", frame, FailureReason.BAD_CRC
            )
        words += frame[start : start + 2]
    return words
