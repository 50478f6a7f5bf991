"""Find the files that come with linetender: example stations, rule sets, units."""

from pathlib import Path

import linetender


class ShippedFileMissing(FileNotFoundError):
    """The installation is damaged: a file that comes with it is not there."""


def shipped(relative: str) -> Path:
    """Return the path of a shipped file.

    In an installed wheel these files lie inside the package; in an editable install
    they lie in the checkout around it.

    Args:
        relative: e.g. `config/rules/default.toml` or `systemd/README.md`.

    Raises:
        ShippedFileMissing: it is in neither place.
    """
    package = Path(linetender.__file__).resolve().parent
    for root in (package / "shipped", *_checkouts(package)):
        if (root / relative).exists():
            return root / relative
    raise ShippedFileMissing(
        f"{relative} does not come with this installation of linetender ({package}); "
        "install it again"
    )


def _checkouts(package: Path) -> tuple[Path, ...]:
    """The nearest folder above the package that is a checkout of this project, if any."""
    for folder in package.parents:
        if (folder / "pyproject.toml").is_file() and (folder / "config").is_dir():
            return (folder,)
    return ()
