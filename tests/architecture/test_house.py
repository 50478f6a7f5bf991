"""What stands where, and how large it may grow."""

import ast
import shutil
import subprocess
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[2]
SOURCE_FOLDERS = ("daemon", "drivers", "tests")

TOP_LEVEL = {
    "CHANGELOG.md",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "SECURITY.md",
    "config",
    "daemon",
    "drivers",
    "pyproject.toml",
    "systemd",
    "tests",
}

MOST_LINES_OF_A_FILE = 400
MOST_LINES_OF_A_FUNCTION = 40

# Names that say nothing about what is inside.
EMPTY_NAMES = {"common", "helper", "helpers", "manager", "misc", "util", "utils"}


def top_level() -> set[str]:
    """Return the names that git keeps; without git or in an unpacked archive, all of them."""
    if (CHECKOUT / ".git").exists() and shutil.which("git"):
        command = ["git", "-c", "safe.directory=*", "ls-files", "-z"]
        done = subprocess.run(command, cwd=CHECKOUT, capture_output=True, text=True, check=True)
        names = {name.partition("/")[0] for name in done.stdout.split("\0") if name}
    else:
        names = {path.name for path in CHECKOUT.iterdir()}
    return {name for name in names if not name.startswith(".")}


def sources() -> list[Path]:
    found = [path for folder in SOURCE_FOLDERS for path in (CHECKOUT / folder).rglob("*.py")]
    assert len(found) > 20, "the walk found next to nothing: is the source where it was?"
    return sorted(found)


def test_the_top_level_holds_only_what_it_may() -> None:
    assert top_level() == TOP_LEVEL


def test_files_stay_short() -> None:
    lengths = {
        str(path.relative_to(CHECKOUT)): len(path.read_text(encoding="utf-8").splitlines())
        for path in sources()
    }
    assert {name: n for name, n in lengths.items() if n > MOST_LINES_OF_A_FILE} == {}


def long_functions(name: str, source: str) -> dict[str, int]:
    """Return the functions over the limit with their lengths in lines."""
    found = {}
    for node in ast.walk(ast.parse(source, name)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            length = (node.end_lineno or node.lineno) - node.lineno + 1
            if length > MOST_LINES_OF_A_FUNCTION:
                found[f"{name}:{node.lineno} {node.name}"] = length
    return found


def test_functions_stay_short() -> None:
    found: dict[str, int] = {}
    for path in sources():
        found |= long_functions(str(path.relative_to(CHECKOUT)), path.read_text(encoding="utf-8"))
    assert found == {}


def test_a_long_function_is_found() -> None:
    body = "    pass\n" * MOST_LINES_OF_A_FUNCTION
    assert long_functions("a.py", "def f():\n" + body) == {"a.py:1 f": 41}
    assert long_functions("a.py", "def f():\n" + body[:-9]) == {}


def test_every_file_is_named_for_what_it_holds() -> None:
    parts = {
        part for path in sources() for part in path.relative_to(CHECKOUT).with_suffix("").parts
    }
    assert parts & EMPTY_NAMES == set()
