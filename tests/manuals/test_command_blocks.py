"""Every block of commands in every page runs as it stands there.

Each runs in a folder of its own, with the files that its page names, `linetender` on the
path and, as in README.md, under `.venv/bin`. What needs root, a service, a network or a
real line says so in a comment before the block, and is skipped with that reason.
"""

import os
import shutil
import signal
import subprocess
import sys
from contextlib import suppress
from pathlib import Path

import pytest

from installed_command import COMMAND, environment, linetender
from linetender.cli.exit_codes import ExitCode
from linetender.settings.shipped import shipped
from manuals.manual_pages import COMMAND_LANGUAGES, PAGES, Block, blocks

BLOCKS = [block for page in PAGES for block in blocks(page) if block.language in COMMAND_LANGUAGES]

RECORDED = "recordings/shed-2031-05-01T080000.jsonl"


@pytest.fixture(scope="session", name="samples")
def _samples(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Make what the pages speak of: stations, and what the demo records."""
    folder = tmp_path_factory.mktemp("samples")
    (folder / "recordings").mkdir()
    session = folder / "session.jsonl"
    done = linetender("demo", "--headless", "--speed", "0", "--record", session)
    assert done.returncode == ExitCode.FINE, done.stderr
    shutil.copy(session, folder / RECORDED)
    shutil.copy(shipped("config/demo.toml"), folder / "station.toml")
    served = shipped("config/demo.toml").read_text(encoding="utf-8")
    served = served.replace('"simulated"', '"simulated:shop"').replace('"demo"', '"shed"')
    (folder / "shed.toml").write_text(served, encoding="utf-8")
    return folder


def lay_out(block: Block, samples: Path, folder: Path) -> None:
    """Bring what a block needs into its folder."""
    (folder / ".venv").symlink_to(sys.prefix)
    for name in block.run_with:
        if (samples / name).is_dir():
            shutil.copytree(samples / name, folder / name)
        else:
            shutil.copy(samples / name, folder / name)


def commands(block: Block) -> str:
    """Return what a person would type; what a console answers is left out."""
    if block.language == "sh":
        return block.text
    typed = [line[2:] for line in block.text.splitlines() if line.startswith("$ ")]
    return "\n".join(typed) + "\n"


def run(text: str, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run commands, stop at the first that fails, and end what they left in the background."""
    told = folder / "told.txt"  # a file: what is left in the background would hold a pipe open
    with told.open("wb") as out:
        process = subprocess.Popen(
            ["bash", "-euo", "pipefail", "-c", text],
            cwd=folder,
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            env=environment(
                HOME=str(folder),
                XDG_RUNTIME_DIR=str(folder),
                PATH=f"{COMMAND.parent}{os.pathsep}{os.environ['PATH']}",
            ),
        )
    try:
        code = process.wait(timeout=110)
    finally:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
        process.wait(timeout=10)
    return subprocess.CompletedProcess(text, code, told.read_text(encoding="utf-8"))


@pytest.mark.parametrize("block", BLOCKS, ids=lambda block: block.name)
def test_a_block_of_commands_runs(block: Block, samples: Path, tmp_path: Path) -> None:
    if block.not_run:
        pytest.skip(f"{block.name}: {block.not_run}")
    lay_out(block, samples, tmp_path)
    done = run(commands(block), tmp_path)
    assert done.returncode == ExitCode.FINE, done.stdout


def test_a_block_that_fails_in_its_first_line_is_found(tmp_path: Path) -> None:
    assert run("linetender lint gone.toml\ntrue\n", tmp_path).returncode == ExitCode.BAD_FILE


def test_every_page_has_its_blocks_looked_at() -> None:
    assert [block.name for block in BLOCKS if block.not_run and block.run_with] == []
    assert {block.name.partition(":")[0] for block in BLOCKS} >= {
        "README.md",
        "DEVELOPERS.md",
        "systemd/README.md",
        "daemon/linetender/simulation/README.md",
    }
