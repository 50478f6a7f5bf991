"""Throws bytes at a door for minutes, guided by what they reach. On demand; prints.

    pip install -e '.[fuzz]'
    nice python tests/fuzz/campaign.py [PART_OF_A_DOOR'S_NAME] [--seconds N] [--keep FOLDER]

Each door gets a process of its own, `--seconds` (60) long, with its seeds. What it found
is kept in a folder of its own beneath `--keep`: `corpus` to go on from, and `crash-…` or
`timeout-…` for a finding, which `--again FILE` lets in once more. Exit status 1 with a
finding.
"""

import argparse
import logging
import re
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

OURS = ("linetender", "linetender_drivers")
PATIENCE_S = 20
"""An input that takes longer has found a hang (chosen: a thousand times what others take)."""


def throw(name: str, folder: Path, seconds: int) -> None:
    """Let atheris throw at one door, in this process; does not return."""
    import atheris  # on demand only

    with atheris.instrument_imports(include=list(OURS)):
        from fuzz.doors import DOORS
    logging.disable(logging.CRITICAL)
    door = next(each for each in DOORS if each.name == name)
    corpus = folder / "corpus"
    corpus.mkdir(parents=True, exist_ok=True)
    for number, seed in enumerate(door.seeds):
        (corpus / f"seed-{number}").write_bytes(seed)
    places = [f"-artifact_prefix={folder}/", str(corpus)]
    if door.words:
        words = folder / "words"
        words.write_text("".join(f'"{_escaped(word)}"\n' for word in door.words))
        places = [f"-dict={words}", *places]
    limits = [f"-max_total_time={seconds}", f"-max_len={door.most}", f"-timeout={PATIENCE_S}"]
    atheris.Setup([sys.argv[0], *limits, "-rss_limit_mb=2048", *places], door.take)
    atheris.Fuzz()


def _escaped(word: bytes) -> str:
    return "".join(f"\\x{octet:02x}" for octet in word)


def campaign(part: str, seconds: int, keep: Path) -> bool:
    """Throw at one door after another; return whether none had a finding."""
    from fuzz.doors import DOORS

    is_fine = True
    print("| door | executions | per second | edges | features | findings |")
    print("|---|---|---|---|---|---|", flush=True)
    for door in DOORS:
        if part in door.name:
            folder = keep / re.sub(r"\W+", "_", door.name)
            command = [sys.executable, __file__, "--door", door.name]
            command += ["--keep", str(folder), "--seconds", str(seconds)]
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            (folder / "log").write_text(done.stdout + done.stderr)
            is_fine = is_fine and done.returncode == 0
            print(_row(door.name, done.stderr, done.returncode, folder), flush=True)
    return is_fine


def _row(name: str, log: str, code: int, folder: Path) -> str:
    """Return a line of the table; what libFuzzer says last counts."""
    seen = re.findall(r"#(\d+)\s.*?cov: (\d+) ft: (\d+).*?exec/s: (\d+)", log)
    executions, edges, features, rate = seen[-1] if seen else ("0", "0", "0", "0")
    done = re.findall(r"Done (\d+) runs in", log)
    found = f"exit {code}, see {folder / 'log'}" if code else "none"
    return (
        f"| {name} | {done[-1] if done else executions} | {rate} | {edges} | {features} | {found} |"
    )


def again(part: str, file: Path) -> None:
    """Let a finding in once more."""
    from fuzz.doors import DOORS

    next(each for each in DOORS if part in each.name).take(file.read_bytes())


def main() -> int:
    """Do what the command line asks for."""
    asked = argparse.ArgumentParser(description="Fuzz the doors of linetender.")
    asked.add_argument("part", nargs="?", default="")
    asked.add_argument("--seconds", type=int, default=60)
    asked.add_argument("--keep", type=Path, default=None)
    asked.add_argument("--again", type=Path, metavar="FILE", help="let a finding in once more")
    asked.add_argument("--door", help=argparse.SUPPRESS)
    given = asked.parse_args()
    keep = given.keep or Path(tempfile.mkdtemp(prefix="fuzz-"))
    if given.door is not None:
        throw(given.door, keep, given.seconds)
    if given.again is not None:
        again(given.part, given.again)
        return 0
    return 0 if campaign(given.part, given.seconds, keep) else 1


if __name__ == "__main__":
    sys.exit(main())
