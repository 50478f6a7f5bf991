"""A world served by the installed command, and a script's hands in it."""

import csv
import json
import subprocess
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

from typer.testing import CliRunner

from installed_command import COMMAND, environment, linetender
from linetender.cli.exit_codes import ExitCode
from linetender.cli.main import app
from linetender.settings.shipped import shipped

S = 1_000_000_000


class World:
    """A `linetender simulate` in the background, served from `world` in a folder.

    Args:
        folder: Where station files lie too.
        arguments: More arguments, such as `--held`.

    Attributes:
        guests: Closed at the end.
    """

    def __init__(self, folder: Path, *arguments: str, scenario: str = "practice") -> None:
        self.guests = ExitStack()
        self.folder = folder
        self.at = folder / "world"
        self.process = subprocess.Popen(
            [COMMAND, "simulate", scenario, "--at", self.at, *arguments],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env=environment(),
        )
        assert self.process.stdout is not None
        self.said = [self.process.stdout.readline(), self.process.stdout.readline()]
        assert self.said[1].startswith("Ready."), self.said

    def hand(self, *arguments: str) -> str:
        """Let a script's hand do something; return what it says."""
        done = CliRunner().invoke(app, ["simulate", *arguments, "--at", str(self.at)])
        assert (done.exit_code, done.stderr) == (ExitCode.FINE, ""), done
        return done.stdout

    def look(self) -> dict[str, Any]:
        """Return how the world is."""
        found: dict[str, Any] = json.loads(self.hand("status", "--json"))
        return found

    def edges(self, gpio: int) -> list[tuple[int, int]]:
        """Return what an output did, as the witness wrote it: time (ns) and level."""
        with (self.at / "edges.csv").open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        return [
            (int(row["time_ns"]), int(row["level"])) for row in rows if row["gpio"] == str(gpio)
        ]

    def station(self, name: str = "served", *, without: str = "") -> Path:
        """Write the demo's station, its devices in this world; leave out lines that begin so."""
        text = shipped("config/demo.toml").read_text(encoding="utf-8")
        text = text.replace('"simulated"', '"simulated:world"').replace('"demo"', f'"{name}"')
        lines = [line for line in text.splitlines() if not without or not line.startswith(without)]
        path = self.folder / f"{name}.toml"
        path.write_text("\n".join(lines), encoding="utf-8")
        return path

    @contextmanager
    def background(self, *arguments: str | Path) -> Iterator[subprocess.Popen[str]]:
        """Run another verb beside it; it is killed at the end if it still runs."""
        process = subprocess.Popen(
            [COMMAND, *arguments],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            bufsize=1,
            env=environment(XDG_RUNTIME_DIR=str(self.folder)),
        )
        with process:
            try:
                yield process
            except BaseException:
                process.kill()
                print(*process.communicate(timeout=30), sep="\n")  # noqa: T201 - for the report
                raise
            finally:
                process.kill()

    def verb(self, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
        """Run another verb to its end."""
        return linetender(*arguments, XDG_RUNTIME_DIR=str(self.folder))


@contextmanager
def served_world(folder: Path, *arguments: str, scenario: str = "practice") -> Iterator[World]:
    """Serve a world while the context lasts."""
    world = World(folder, *arguments, scenario=scenario)
    with world.process, world.guests:
        try:
            yield world
        finally:
            world.process.kill()
