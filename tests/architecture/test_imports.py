"""The arrows between the rooms of the house, read from the source.

A new package gets a row in `ARROWS`; an arrow is added only when the design says so.
"""

import subprocess
import sys
from pathlib import Path

import pytest

from architecture.imports_of import Import, cycles, imports_under, modules_under

CHECKOUT = Path(__file__).resolve().parents[2]
ROOTS = (CHECKOUT / "daemon", CHECKOUT / "drivers")

# What each package may import besides itself. `linetender` is the root module, which
# holds the version and imports nothing.
ARROWS = {
    "linetender": set[str](),
    "linetender.airline": set[str](),
    "linetender.core": {"linetender.airline"},
    "linetender.annunciation": {"linetender.core"},
    "linetender.settings": {
        "linetender",
        "linetender.airline",
        "linetender.core",
        "linetender_drivers",
    },
    "linetender.recording": {"linetender", "linetender.core", "linetender.settings"},
    "linetender.reports": {
        "linetender.airline",
        "linetender.annunciation",
        "linetender.core",
        "linetender.recording",
        "linetender.settings",
    },
    "linetender.memory": {
        "linetender",
        "linetender.airline",
        "linetender.core",
        "linetender.settings",
    },
    "linetender.simulation": {
        "linetender.airline",
        "linetender.core",
        "linetender.settings",
        "linetender_drivers",
    },
    "linetender.runtime": {
        "linetender",
        "linetender.airline",
        "linetender.annunciation",
        "linetender.core",
        "linetender.memory",
        "linetender.recording",
        "linetender.settings",
        "linetender_drivers",
    },
    "linetender.far_end": {
        "linetender.annunciation",
        "linetender.core",
        "linetender.runtime",
        "linetender.settings",
        "linetender_drivers",
    },
    "linetender.cli": {
        "linetender",
        "linetender.airline",
        "linetender.annunciation",
        "linetender.core",
        "linetender.far_end",
        "linetender.memory",
        "linetender.recording",
        "linetender.reports",
        "linetender.runtime",
        "linetender.settings",
        "linetender.simulation",
        "linetender_drivers",
    },
    "linetender_drivers": set[str](),
}

# Libraries that touch the outside world, and the only places that may import them.
KEEPERS = {
    "smbus2": "linetender_drivers.buses",
    "bleak": "linetender_drivers.buses",
    "gpiozero": "linetender_drivers.buses",
    "lgpio": "linetender_drivers.buses",
    "paho": "linetender.runtime.broker",
}

# The pure packages and all that they may import from outside.
PURE = {"linetender.airline", "linetender.core"}
PURE_MAY_IMPORT = {
    "__future__",
    "abc",
    "bisect",
    "collections",
    "dataclasses",
    "enum",
    "functools",
    "heapq",
    "itertools",
    "math",
    "msgspec",
    "operator",
    "statistics",
    "types",
    "typing",
}

HARDWARE_LIBRARIES = {"smbus2", "bleak", "gpiozero", "lgpio"}


def package_of(module: str) -> str:
    """Return the room that a module of ours belongs to."""
    top, _, rest = module.partition(".")
    if top != "linetender" or not rest:
        return top
    return f"{top}.{rest.partition('.')[0]}"


def is_ours(module: str) -> bool:
    return module.partition(".")[0] in {"linetender", "linetender_drivers"}


def is_within(module: str, place: str) -> bool:
    return module == place or module.startswith(place + ".")


def wrong(each: Import) -> str | None:
    """Say what is wrong with an import, or None."""
    here, there = package_of(each.importer), package_of(each.imported)
    where = f"{each.importer}:{each.line} imports {each.imported}"
    if here not in ARROWS:
        return f"{where}: give {here} a row in ARROWS"
    if is_ours(each.imported):
        allowed = there == here or there in ARROWS[here]
        return None if allowed else f"{where}: no arrow leads from {here} to {there}"
    keeper = KEEPERS.get(there)
    if keeper and not is_within(each.importer, keeper):
        return f"{where}: only {keeper} may"
    if here in PURE and there not in PURE_MAY_IMPORT:
        return f"{where}: {here} is pure and may import only {sorted(PURE_MAY_IMPORT)}"
    return None


def test_every_import_follows_an_arrow() -> None:
    imports = imports_under(*ROOTS)
    assert len(imports) > 50, "the walk found next to nothing: is the source where it was?"
    assert [fault for fault in map(wrong, imports) if fault] == []


def test_no_modules_import_each_other_in_a_ring() -> None:
    assert cycles(imports_under(*ROOTS)) == []


@pytest.mark.parametrize(
    ("importer", "imported", "complaint"),
    [
        ("linetender.core.watch", "linetender.settings.load", "no arrow leads from"),
        ("linetender.core.watch", "asyncio", "is pure"),
        ("linetender.airline.duct", "numpy", "is pure"),
        ("linetender.recording.reader", "linetender.runtime.loop", "no arrow leads from"),
        ("linetender_drivers.pressure.part", "linetender.core.signals", "no arrow leads from"),
        ("linetender_drivers.pressure.part", "smbus2", "only linetender_drivers.buses may"),
        ("linetender.runtime.loop", "paho.mqtt.client", "only linetender.runtime.broker may"),
        ("linetender.runtime.brokerage", "paho.mqtt.client", "only linetender.runtime.broker may"),
        ("linetender.runtime.loop", "linetender.simulation.wearer", "no arrow leads from"),
        ("linetender.attic.box", "linetender.core.watch", "give linetender.attic a row"),
        ("linetender.core.watch", "linetender.airline.flow", None),
        ("linetender.runtime.broker", "paho.mqtt.client", None),
        ("linetender_drivers.buses.i2c", "smbus2", None),
        ("linetender.cli.main", "typer", None),
    ],
)
def test_the_rules_bite(importer: str, imported: str, complaint: str | None) -> None:
    fault = wrong(Import(importer, imported, 1, at_load=True))
    if complaint is None:
        assert fault is None
    else:
        assert fault is not None
        assert complaint in fault


def test_the_walk_sees_every_kind_of_import(tmp_path: Path) -> None:
    house = tmp_path / "house"
    house.mkdir()
    (house / "__init__.py").write_text("from house import door\n")
    (house / "door.py").write_text(
        "import os.path\n"
        "from . import window\n"
        "from typing import TYPE_CHECKING\n"
        "if TYPE_CHECKING:\n"
        "    import garden\n"
        "else:\n"
        "    import street\n"
        "def later():\n"
        "    from .window import pane\n"
    )
    (house / "window.py").write_text(
        "try:\n    from .door import later\nexcept ImportError:\n    pass\n"
    )
    found = imports_under(tmp_path)
    assert found == [
        Import("house", "house.door", 1, True),
        Import("house.door", "os.path", 1, True),
        Import("house.door", "house.window", 2, True),
        Import("house.door", "typing", 3, True),
        Import("house.door", "street", 7, True),
        Import("house.door", "house.window", 9, False),
        Import("house.window", "house.door", 2, True),
    ]
    assert cycles(found) == [("house.door", "house.window")]


def loaded_after(statement: str) -> set[str]:
    """Return the top-level names loaded by a fresh interpreter after a statement."""
    script = (
        f"{statement}\nimport sys\nprint(*sorted({{m.partition('.')[0] for m in sys.modules}}))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    return set(done.stdout.split())


def test_loading_the_core_loads_no_event_loop_and_no_heavy_library() -> None:
    core = [
        name for name in modules_under(CHECKOUT / "daemon") if is_within(name, "linetender.core")
    ]
    loaded = loaded_after(f"import {', '.join(core)}")
    assert "msgspec" in loaded
    assert loaded & {"asyncio", "numpy", "pydantic", "paho", *HARDWARE_LIBRARIES} == set()


def test_loading_every_driver_spec_loads_no_hardware_library() -> None:
    loaded = loaded_after(
        "from linetender_drivers.registry import driver_names, find_spec\n"
        "names = driver_names()\n"
        "assert names, 'no driver is installed'\n"
        "for name in names: find_spec(name)"
    )
    assert "pydantic" in loaded
    assert loaded & HARDWARE_LIBRARIES == set()
