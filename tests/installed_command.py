"""Runs the installed command as a person would."""

import os
import subprocess
import sys
from pathlib import Path

COMMAND = Path(sys.executable).with_name("linetender")


def environment(**more: str) -> dict[str, str]:
    """Return an environment with a plain terminal of 80 columns."""
    return {**os.environ, "COLUMNS": "80", "NO_COLOR": "1", "TERM": "dumb", **more}


def linetender(*arguments: str | Path, **more: str) -> subprocess.CompletedProcess[str]:
    """Run the command to its end; `more` goes into its environment."""
    return subprocess.run(
        [COMMAND, *arguments],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env=environment(**more),
    )
