"""What a shell offers at the Tab key: verbs, options, names."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest

from installed_command import COMMAND, environment, linetender
from linetender.cli.exit_codes import ExitCode
from linetender.cli.main import GROUPS, VERBS

NAMES = sorted(
    [*(verb.__name__.replace("_", "-") for verbs in VERBS.values() for verb in verbs), *GROUPS]
)

SHELLS = ("bash", "zsh", "fish")


def asked(shell: str, line: str) -> str:
    """Ask as the shell's script does, with the cursor behind the line."""
    words = line.split(" ")
    done = linetender(
        _LINETENDER_COMPLETE=f"complete_{shell}",
        COMP_WORDS=line,
        COMP_CWORD=str(len(words) - 1),
        _TYPER_COMPLETE_ARGS=line,
        _TYPER_COMPLETE_FISH_ACTION="get-args",
    )
    assert done.stderr == ""
    return done.stdout


@pytest.mark.parametrize(
    ("line", "offered"),
    [
        ("linetender ", NAMES),
        ("linetender acknowledge --we", ["--wearer"]),
        ("linetender demo --scenario fan_turned_up", ["fan_turned_up", "fan_turned_up_tachometer"]),
        ("linetender simulate fault fan_st", ["fan_stop"]),
    ],
)
def test_bash_is_offered_what_fits(line: str, offered: list[str]) -> None:
    assert sorted(asked("bash", line).split()) == offered


@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_other_shells_are_told_what_a_verb_does(shell: str) -> None:
    said = asked(shell, "linetender repl")
    assert "replay" in said and "Decide recordings again" in said


@pytest.mark.parametrize("shell", SHELLS)
def test_its_script_is_one_that_the_shell_takes(shell: str, tmp_path: Path) -> None:
    done = linetender(_LINETENDER_COMPLETE=f"source_{shell}")
    script = tmp_path / "script"
    script.write_text(done.stdout, encoding="utf-8")
    assert "_LINETENDER_COMPLETE=complete_" in done.stdout
    if shutil.which(shell) is None:
        pytest.skip(f"NOT CHECKED by {shell} itself: install {shell}")
    subprocess.run([shell, "-n", script], check=True, timeout=60)


def test_bash_itself_completes_a_verb(tmp_path: Path) -> None:
    """Source: GNU bash's own programmable completion, which nobody here wrote."""
    text = (
        'eval "$(_LINETENDER_COMPLETE=source_bash linetender)"\n'
        "COMP_WORDS=(linetender calib)\nCOMP_CWORD=1\n_linetender_completion linetender\n"
        'printf "%s\\n" "${COMPREPLY[@]}"\n'
    )
    done = subprocess.run(
        ["bash", "-c", text],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env=environment(PATH=f"{COMMAND.parent}{os.pathsep}{os.environ['PATH']}"),
    )
    assert (done.returncode, done.stdout, done.stderr) == (ExitCode.FINE, "calibrate\n", "")
