"""Updates as systemd/README.md says: two that do not start, a good one, and back by hand.

Pip and packages are lent to each new environment by the first one: unpacking them takes minutes
under emulation, and is pip's affair.
"""

import itertools
import json
import re
import time
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING

from checks import EMULATED, said, sh
from witness import HOST, LIFE, SIREN, UNIT, edges, unit

if TYPE_CHECKING:
    from bench import Bench

OPT = Path("/opt/linetender")
FIRST = OPT / "guest"
LINK = OPT / "current"

TIME_IS_KNOWN = Path("/run/systemd/timesync/synchronized")

ENDS = "raise RuntimeError('an invented fault: this version ends at once')"
HANGS = "__import__('time').sleep(3600)"

STARTS_WITHIN_S = 90
"""A version that says nothing for so long does not start."""


def update_and_back(bench: "Bench") -> int:
    """Play everything; return the exit status."""
    # As on a computer in a network; else each start would say that it does not know the time.
    TIME_IS_KNOWN.parent.mkdir(parents=True, exist_ok=True)
    TIME_IS_KNOWN.touch()
    bench.install()
    bench.power_on()
    (wheel,) = HOST.glob("linetender-*.whl")
    old = wheel.name.split("-")[1]
    for version, fault in (("90.0.0", ENDS), ("90.1.0", HANGS)):
        _environment(wheel, version, f"\nimport sys\nif 'run' in sys.argv[1:2]:\n    {fault}\n")
        _does_not_start(bench, version, old)
    _environment(wheel, "91.0.0", "")
    _is_refused_in_use(bench, "91.0.0")
    _is_good(bench, "91.0.0", old)
    return bench.checks.summary()


def _environment(wheel: Path, version: str, fault: str) -> None:
    """Make a wheel of another version and install it beside those that are there."""
    said(f"\nversion {version}")
    old = wheel.name.split("-")[1]
    new = Path("/var/tmp") / wheel.name.replace(f"-{old}-", f"-{version}-")
    info, new_info = f"linetender-{old}.dist-info/", f"linetender-{version}.dist-info/"
    with zipfile.ZipFile(wheel) as source, zipfile.ZipFile(new, "w") as target:
        for name in source.namelist():
            data = source.read(name)
            if name == "linetender/__init__.py":
                data = re.sub(rb'(__version__ = ")[^"]*', rb"\g<1>" + version.encode(), data)
            elif name == "linetender/cli/run.py":
                data += fault.encode()
            elif name == f"{info}METADATA":
                data = data.replace(
                    f"\nVersion: {old}\n".encode(), f"\nVersion: {version}\n".encode()
                )
            elif name == f"{info}RECORD":
                data = re.sub(rb"(?m)^(.*),sha256=[^,]*,\d*\r?$", rb"\1,,", data)
                data = data.replace(info.encode(), new_info.encode())
            target.writestr(name.replace(info, new_info), data)
    sh(f"python3 -m venv --system-site-packages --without-pip {OPT / version}")
    packages = "lib/python3.11/site-packages"
    (OPT / version / packages / "lent.pth").write_text(f"{FIRST / packages}\n", encoding="ascii")
    pip = f"{FIRST}/bin/pip --python {OPT / version}/bin/python"
    sh(f"TMPDIR=/var/tmp {pip} install -q --no-index --no-deps {new}")


def _install(version: str) -> tuple[int, str]:
    """Let a version install itself; return the exit status and what was said."""
    told = sh(f"{OPT / version}/bin/linetender install --apply 2>&1; echo $?", check=False)
    text, _, status = told.rpartition("\n")
    return int(status), text


def _does_not_start(bench: "Bench", version: str, old: str) -> None:
    checks, witness = bench.checks, bench.witness
    since_s = time.monotonic()
    before = len(witness.online)
    status, text = _install(version)
    took_s = time.monotonic() - since_s
    checks.now(f"{version} does not start: taken back within {took_s:.0f} s", status == 1)
    checks.now("soon enough", took_s < STARTS_WITHIN_S * EMULATED)
    checks.now("and it says so", f"The new version does not start. Going back to {old}.\n" in text)
    if status != 1:
        said(text[-2000:])
    _runs(bench, old, FIRST, before)
    checks.now("nothing sounded", not edges(SIREN, since_s))
    said(f"           not watched for {_still_s(since_s):.0f} s")


def _is_refused_in_use(bench: "Bench", version: str) -> None:
    checks = bench.checks
    bench.use()
    pid = unit(UNIT, "MainPID")
    status, text = _install(version)
    checks.now("worn: the update is refused", status == 4 and "is worn" in text)
    checks.now("and nothing was touched", (unit(UNIT, "MainPID"), _link()) == (pid, FIRST))
    bench.hand.hang_hood()
    checks.within(3, "hood on its hook: idle", lambda: bench.witness.stage() == "idle")
    # A line that runs is watched in idle too, and 10 s without a reading are rightly told.
    bench.hand.pull_plug()
    bench.pressure_pa = 0.0


def _is_good(bench: "Bench", version: str, old: str) -> None:
    checks, witness = bench.checks, bench.witness
    since_s = time.monotonic()
    before = len(witness.online)
    status, text = _install(version)
    checks.now(f"updated to {version}", status == 0 and text.endswith("Done."))
    if status:
        said(text[-2000:])
    _runs(bench, version, OPT / version, before)
    said(f"           not watched for {_still_s(since_s):.0f} s")
    shown = sh("linetender --version")
    checks.now(f"the command on the PATH is the new one: {shown}", shown.endswith(version))
    before = len(witness.online)
    back = sh("linetender install --roll-back --apply 2>&1; echo $?", check=False)
    checks.now("rolled back by hand", back.endswith("Done.\n0"))
    if not back.endswith("Done.\n0"):
        said(back[-2000:])
    _runs(bench, old, FIRST, before)
    checks.now("nothing sounded", not edges(SIREN, since_s))


def _runs(bench: "Bench", version: str, environment: Path, before: int) -> None:
    """Note whether a version is installed, runs, and watches; `before`: words of the broker."""
    checks, witness = bench.checks, bench.witness
    checks.now(f"the link points to {version}", _link() == environment)
    record = json.loads((OPT / "installed.json").read_text(encoding="utf-8"))
    checks.now("so says the record", record["now"]["version"] == version)
    checks.within(5, "the service is active", bench.is_active)
    checks.within(10, "online at the broker", lambda: witness.online[before:][-1:] == ["online"])
    checks.within(
        5,
        "pressure by I2C to the broker",
        lambda: (
            witness.state_age_s() < 2
            and abs(witness.signal("hood_pressure_pa") - bench.pressure_pa) < 2
        ),
    )
    checks.within(5, "the sign of life toggles", lambda: len(edges(LIFE, time.monotonic() - 3)) > 2)


def _link() -> Path:
    return LINK.readlink()


def _still_s(since_s: float) -> float:
    """Return the longest pause (s) of the sign of life since then."""
    at_s = [since_s, *(of_s for of_s, _ in edges(LIFE, since_s)), time.monotonic()]
    return max(b - a for a, b in itertools.pairwise(at_s))
