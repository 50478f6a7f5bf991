"""What the class on a filter's label says."""

import re

import pytest

from linetender.airline.filter import En1822Class
from linetender.settings.filter_class import EN_1822_PERCENT, ISO_29463_PERCENT, filter_class
from linetender.settings.line_tables import FILTER_CLASS_PATTERN


@pytest.mark.parametrize(
    ("name", "standard", "efficiency_percent", "particles"),
    [
        ("H13", "EN 1822", 99.95, "the particles that pass it most easily"),
        ("ISO 35 H", "ISO 29463", 99.95, "the particles that pass it most easily"),
        ("ISO ePM1 60%", "ISO 16890", 60.0, "dust up to 1 µm"),
        ("ISO ePM2.5 85 %", "ISO 16890", 85.0, "dust up to 2.5 µm"),
        ("ISO coarse 45%", "ISO 16890", 45.0, "coarse test dust"),
    ],
)
def test_a_class(name: str, standard: str, efficiency_percent: float, particles: str) -> None:
    assert filter_class(name) == (name, standard, efficiency_percent, particles)


NO_CLASSES = ("", "H12", "h13", "H13 ", "HEPA", "ISO ePM1 62%", "ISO 35 E", "ISO ePM3 50%", "F7")


@pytest.mark.parametrize("name", NO_CLASSES)
def test_no_class(name: str) -> None:
    assert re.search(FILTER_CLASS_PATTERN, name) is None
    with pytest.raises(ValueError, match="is no filter class of EN 1822, ISO 29463 or ISO 16890"):
        filter_class(name)


@pytest.mark.parametrize("name", [*EN_1822_PERCENT, *ISO_29463_PERCENT, "ISO ePM10 50%"])
def test_a_station_file_takes_every_class(name: str) -> None:
    assert re.search(FILTER_CLASS_PATTERN, name) is not None


def test_both_tables_of_en_1822_agree() -> None:
    assert {each.name: each.value for each in En1822Class}.items() <= EN_1822_PERCENT.items()


def test_iso_29463_groups_hold_what_en_1822_has() -> None:
    assert {"E11", "E12", "H13", "H14", "U15", "U16", "U17"} == {
        name for name, percent in EN_1822_PERCENT.items() if percent in ISO_29463_PERCENT.values()
    }
