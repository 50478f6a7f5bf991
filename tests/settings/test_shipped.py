"""Where shipped files are found: inside an installed package, or in the checkout around it."""

from pathlib import Path

import pytest

import linetender
from linetender.settings.shipped import ShippedFileMissing, shipped

RULES = "config/rules/default.toml"


def _package(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    package = folder / "daemon" / "linetender"
    package.mkdir(parents=True)
    monkeypatch.setattr(linetender, "__file__", str(package / "__init__.py"))
    return package


def _write(path: Path) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("schema = 1\n", encoding="utf-8")
    return path


def test_a_wheel_carries_them_inside(tmp_path, monkeypatch) -> None:
    inside = _write(_package(tmp_path, monkeypatch) / "shipped" / RULES)
    _write(tmp_path / RULES)
    _write(tmp_path / "pyproject.toml")
    assert shipped(RULES) == inside


def test_an_editable_install_has_them_in_the_checkout(tmp_path, monkeypatch) -> None:
    _package(tmp_path, monkeypatch)
    around = _write(tmp_path / RULES)
    _write(tmp_path / "pyproject.toml")
    assert shipped(RULES) == around


def test_a_damaged_installation_says_so(tmp_path, monkeypatch) -> None:
    _package(tmp_path, monkeypatch)
    with pytest.raises(ShippedFileMissing, match="install it again"):
        shipped(RULES)
