"""What the class on a filter's label says: how much it stops, never at what pressure.

EN 1822 and ISO 29463 grade by the least overall efficiency, at the particle size that
passes most easily. ISO 16890 grades coarser filters by the part that they take of dust up
to 1, 2.5 or 10 µm, or of coarse test dust. None of them sets a pressure: of two filters
of one class the one with half the area of medium takes twice the pressure.
"""

import re
from typing import NamedTuple

EN_1822_PERCENT = {
    "E10": 85.0,
    "E11": 95.0,
    "E12": 99.5,
    "H13": 99.95,
    "H14": 99.995,
    "U15": 99.9995,
    "U16": 99.99995,
    "U17": 99.999995,
}
"""Least overall efficiency (%). Source: EN 1822-1, table 1; U15 to U17 from memory."""

ISO_29463_PERCENT = {
    "ISO 15 E": 95.0,
    "ISO 20 E": 99.0,
    "ISO 25 E": 99.5,
    "ISO 30 E": 99.9,
    "ISO 35 H": 99.95,
    "ISO 40 H": 99.99,
    "ISO 45 H": 99.995,
    "ISO 50 U": 99.999,
    "ISO 55 U": 99.9995,
    "ISO 60 U": 99.9999,
    "ISO 65 U": 99.99995,
    "ISO 70 U": 99.99999,
    "ISO 75 U": 99.999995,
}
"""The same by ISO 29463-1, table 1 (from memory)."""

_ISO_16890 = re.compile(r"ISO (?:ePM(?P<um>1|2\.5|10)|coarse) (?P<percent>[1-9][05]) ?%")
"""ISO 16890-1 rounds down to multiples of 5 % (from memory)."""


FILTER_CLASS_PATTERN = (
    r"^(E1[0-2]|H1[34]|U1[5-7]|ISO (15|20|25|30) E|ISO (35|40|45) H|ISO (50|55|60|65|70|75) U"
    r"|ISO (ePM(1|2\.5|10)|coarse) [1-9][05] ?%)$"
)
"""Names of filter classes, as a station file takes them."""


class FilterClass(NamedTuple):
    """A class that was understood.

    Attributes:
        name: As it was written.
        standard: The standard that defines it.
        efficiency_percent: What it stops at least (%) of `particles`.
        particles: Of which particles.
    """

    name: str
    standard: str
    efficiency_percent: float
    particles: str


def filter_class(name: str) -> FilterClass:
    """Return what a class says.

    Args:
        name: For example "H13", "ISO 35 H" or "ISO ePM1 60%".

    Raises:
        ValueError: No class of these standards has that name.
    """
    worst = "the particles that pass it most easily"
    if name in EN_1822_PERCENT:
        return FilterClass(name, "EN 1822", EN_1822_PERCENT[name], worst)
    if name in ISO_29463_PERCENT:
        return FilterClass(name, "ISO 29463", ISO_29463_PERCENT[name], worst)
    found = _ISO_16890.fullmatch(name)
    if found is None:
        raise ValueError(f"{name!r} is no filter class of EN 1822, ISO 29463 or ISO 16890")
    size_um = found["um"]
    particles = "coarse test dust" if size_um is None else f"dust up to {size_um} µm"
    return FilterClass(name, "ISO 16890", float(found["percent"]), particles)
