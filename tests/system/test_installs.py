"""The project as people install it: each kind of install works from another folder.

The virtual environments made here borrow the libraries of the one that runs the
tests, so that nothing is downloaded.
"""

import json
import os
import subprocess
import sys
import sysconfig
import zipfile
from collections.abc import Sequence
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parents[2]
SHIPPED_FOLDERS = ("config", "systemd")
STATION = "config/demo.toml"


def run(command: Sequence[str | Path], cwd: Path) -> str:
    """Run a command that must succeed, without what the tests' own environment adds."""
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    done = subprocess.run(
        command, cwd=cwd, env=environment, capture_output=True, text=True, timeout=110, check=False
    )
    assert done.returncode == 0, f"{command}\n{done.stdout}\n{done.stderr}"
    return done.stdout


def build(target: str, folder: Path, source: Path) -> Path:
    """Build a `wheel` or an `sdist` and return its path."""
    run([sys.executable, "-m", "hatchling", "build", "-t", target, "-d", folder], source)
    (built,) = folder.iterdir()
    return built


@pytest.fixture(scope="module")
def sdist(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build("sdist", tmp_path_factory.mktemp("sdist"), CHECKOUT)


@pytest.fixture(scope="module")
def unpacked(sdist: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("unpacked")
    # Not tarfile: Debian 12's Python 3.11.2 has no extraction filter, 3.13 warns without one.
    run(["tar", "-xf", sdist], folder)
    (top,) = folder.iterdir()
    return top


@pytest.fixture(scope="module")
def wheel(unpacked: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A wheel built from the source archive, so that one test covers both."""
    return build("wheel", tmp_path_factory.mktemp("wheel"), unpacked)


def shipped_files() -> set[str]:
    """Return what the checkout has to ship, relative to it."""
    return {
        str(path.relative_to(CHECKOUT))
        for folder in SHIPPED_FOLDERS
        for path in (CHECKOUT / folder).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


def install(folder: Path, what: Sequence[str | Path]) -> Path:
    """Install into a fresh environment and return its folder of commands."""
    run([sys.executable, "-m", "venv", "--without-pip", folder], folder.parent)
    python = folder / "bin" / "python"
    asked = "import sysconfig; print(sysconfig.get_path('purelib'))"
    packages = Path(run([python, "-c", asked], folder.parent).strip())
    (packages / "borrowed.pth").write_text(sysconfig.get_path("purelib") + "\n")
    pip = [sys.executable, "-m", "pip", "--python", python, "install", "--quiet"]
    run([*pip, "--no-deps", "--no-index", "--no-build-isolation", *what], folder.parent)
    return folder / "bin"


@pytest.fixture(scope="module", params=["wheel", "editable"])
def installed(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp(request.param) / "venv"
    if request.param == "editable":
        return install(folder, ["-e", CHECKOUT])
    return install(folder, [request.getfixturevalue("wheel")])


def test_the_wheel_ships_config_and_service_files(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    expected = {f"linetender/shipped/{name}" for name in shipped_files()}
    assert {name for name in names if name.startswith("linetender/shipped/")} == expected
    assert any(name.endswith(".dist-info/licenses/LICENSE") for name in names)


def test_both_packages_come_from_this_install(installed: Path, tmp_path: Path) -> None:
    script = (
        "import json, linetender, linetender_drivers;"
        "print(json.dumps([linetender.__file__, linetender_drivers.__file__]))"
    )
    files = json.loads(run([installed / "python", "-c", script], tmp_path))
    editable = installed.parent.parent.name.startswith("editable")
    home = CHECKOUT if editable else installed.parent
    assert [Path(file).is_relative_to(home) for file in files] == [True, True]


def test_shipped_files_are_found_from_another_folder(installed: Path, tmp_path: Path) -> None:
    script = (
        "import json, sys; from linetender.settings.shipped import shipped;"
        "print(json.dumps([shipped(name).is_file() for name in sys.argv[1:]]))"
    )
    wanted = sorted(shipped_files())
    found = json.loads(run([installed / "python", "-c", script, *wanted], tmp_path))
    assert dict(zip(wanted, found, strict=True)) == dict.fromkeys(wanted, True)


def test_the_command_lints_the_shipped_station(installed: Path, tmp_path: Path) -> None:
    script = f"from linetender.settings.shipped import shipped; print(shipped({STATION!r}))"
    station = run([installed / "python", "-c", script], tmp_path).strip()
    run([installed / "linetender", "lint", station], tmp_path)
    assert list(tmp_path.iterdir()) == [], "lint leaves nothing behind"
