"""The CRC-8 of described packets against published check values.

Sources: "Catalogue of parametrised CRC algorithms" (G. Cook, CRC RevEng), check value of
the text 123456789, for those that are neither reflected nor inverted at the end; and the
worked example of the SHT3x and SDP8xx data sheets: BE EF gives 92.
"""

import pytest

from linetender_drivers.oximeter.packet_description import Checksum, ChecksumKind
from linetender_drivers.oximeter.packet_frames import checksum_of

CATALOGUE = {
    "CRC-8/SMBUS": (0x07, 0x00, 0xF4),
    "CRC-8/NRSC-5": (0x31, 0xFF, 0xF7),
    "CRC-8/CDMA2000": (0x9B, 0xFF, 0xDA),
    "CRC-8/LTE": (0x9B, 0x00, 0xEA),
    "CRC-8/DVB-S2": (0xD5, 0x00, 0xBC),
    "CRC-8/GSM-A": (0x1D, 0x00, 0x37),
}


@pytest.mark.parametrize("name", CATALOGUE)
def test_check_value(name: str) -> None:
    poly, init, check = CATALOGUE[name]
    how = Checksum(kind=ChecksumKind.CRC8, poly=poly, init=init)
    assert checksum_of(b"123456789", how) == check


def test_worked_example_of_the_data_sheets() -> None:
    how = Checksum(kind=ChecksumKind.CRC8, poly=0x31, init=0xFF)
    assert checksum_of(bytes.fromhex("beef"), how) == 0x92
