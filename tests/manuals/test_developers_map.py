"""The map in DEVELOPERS.md names every folder that there is."""

import re

import pytest

from manuals.manual_pages import CHECKOUT, blocks

MAP = next(blocks(CHECKOUT / "DEVELOPERS.md")).text


@pytest.mark.parametrize("package", ["daemon/linetender", "drivers/linetender_drivers"])
def test_every_package_is_on_the_map(package: str) -> None:
    _, _, after = MAP.partition(f"{package}/")
    part = after.partition("\ndrivers/")[0].partition("\nconfig/")[0]
    named = set(re.findall(r"(\w+)/", part))
    assert named == {path.parent.name for path in (CHECKOUT / package).glob("*/__init__.py")}
