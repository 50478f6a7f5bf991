"""Checks that wait for something to become true, and the figures of what they saw."""

import contextlib
import os
import subprocess
import sys
import time
from collections.abc import Callable

EMULATED = 3.0
"""A deadline under emulation is three times the nominal one, which virtual time asserts."""


class Checks:
    """Counts what held and what did not, and prints a line for each."""

    def __init__(self) -> None:
        self.held = 0
        self.failed: list[str] = []
        self._started_s = time.monotonic()

    def within(self, nominal_s: float, name: str, condition: Callable[[], object]) -> bool:
        """Wait until a condition holds, three times the nominal deadline at most."""
        began_s = time.monotonic()
        while (waited_s := time.monotonic() - began_s) < nominal_s * EMULATED:
            # What is looked at may not be there yet.
            with contextlib.suppress(LookupError, OSError, ValueError, TypeError):
                if condition():
                    return self._note(True, name, waited_s)
            time.sleep(0.05)
        return self._note(False, name, waited_s)

    def now(self, name: str, holds: object) -> bool:
        """Note what holds or does not at this instant."""
        return self._note(bool(holds), name, 0.0)

    def throughout(self, seconds: float, name: str, condition: Callable[[], object]) -> bool:
        """Note whether a condition holds for a while."""
        end_s = time.monotonic() + seconds
        while time.monotonic() < end_s:
            if not condition():
                return self._note(False, name, time.monotonic() - end_s + seconds)
            time.sleep(0.1)
        return self._note(True, name, seconds)

    def summary(self) -> int:
        """Print the sum and return the exit status."""
        said(f"{self.held} held, {len(self.failed)} did not")
        for name in self.failed:
            said(f"  NOT: {name}")
        return 1 if self.failed else 0

    def _note(self, holds: bool, name: str, waited_s: float) -> bool:
        at_s = time.monotonic() - self._started_s
        said(f"{at_s:6.1f} s  {'held' if holds else 'NOT '}  {name} ({waited_s:.2f} s)")
        if holds:
            self.held += 1
        else:
            self.failed.append(name)
        return holds


def said(text: str) -> None:
    """Print a line at once."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def sh(command: str, *, check: bool = True) -> str:
    """Run a shell command; return what it printed.

    Raises:
        RuntimeError: it failed, unless that is expected.
    """
    # The bench's own path would lead another version's verbs to the first one's modules.
    clean = {name: value for name, value in os.environ.items() if name != "PYTHONPATH"}
    done = subprocess.run(
        command, shell=True, capture_output=True, text=True, check=False, env=clean
    )
    if check and done.returncode:
        raise RuntimeError(f"{command}: {done.returncode}\n{done.stdout}{done.stderr}")
    return done.stdout.strip()
