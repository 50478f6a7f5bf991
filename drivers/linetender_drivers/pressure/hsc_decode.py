"""What the part number of an HSC or SSC sensor says: range, transfer function, address. Pure.

Sources: Linux driver hsc030pa.c (counts of the four transfer functions, ranges);
nomenclature of the data sheets (from memory: the digits of the address).
"""

import re
from typing import NamedTuple

from linetender_drivers.pressure.bridge_decode import BridgeRange

PART_NUMBER = (
    r"^(HSC|SSC)[A-Z][A-Z]{2}[NDTV](?P<value>\d{3}|\d\.\d)(?P<unit>[MBLKNP])(?P<kind>[DG])"
    r"(?P<address>[2-7])(?P<function>[ABCF])[35]$"
)
"""Series, package, ports, option, pressure range, I2C address, transfer function, supply.

Absolute parts and those with an analogue or SPI output are not among them."""

PA_PER_UNIT = {
    "M": 100.0,  # mbar
    "B": 100_000.0,  # bar
    "L": 1.0,  # Pa
    "K": 1000.0,  # kPa
    "N": 249.0889,  # inch of water, conventional
    "P": 6894.757,  # psi
}

FUNCTIONS = {"A": (1638, 14746), "B": (819, 15565), "C": (819, 13926), "F": (655, 15401)}
"""Counts at the ends of the range: 10 to 90 %, 5 to 95 %, 5 to 85 %, 4 to 94 % of 2^14."""


class HscPart(NamedTuple):
    """What a part number says.

    Attributes:
        address: 7-bit.
        pressure_range: From counts to pressure.
    """

    address: int
    pressure_range: BridgeRange


def hsc_part(part_number: str) -> HscPart:
    """Take a part number apart, e.g. `HSCDRRN250LD2A3`.

    Raises:
        ValueError: it is none of a differential or gauge part on I2C.
    """
    found = re.match(PART_NUMBER, part_number)
    if found is None:
        raise ValueError(
            f"{part_number!r} is no part number of a differential or gauge HSC or SSC sensor "
            "on I2C; expected one such as HSCDRRN250LD2A3"
        )
    limit_pa = float(found["value"]) * PA_PER_UNIT[found["unit"]]
    low_pa = -limit_pa if found["kind"] == "D" else 0.0
    address = 0x08 + 0x10 * int(found["address"])
    return HscPart(address, BridgeRange(*FUNCTIONS[found["function"]], low_pa, limit_pa))
