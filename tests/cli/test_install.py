"""Installing the service: shown first, done on demand, gone back from, and taken back."""

import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from linetender.cli import installation
from linetender.cli.exit_codes import ExitCode
from linetender.cli.installation import (
    CURRENT,
    RECORD,
    Generation,
    NotInstallable,
    below,
    carry_out,
    installing,
    read_record,
    rolling_back,
    shipped_files,
    this_generation,
    unit_of,
)
from linetender.cli.main import app
from linetender.settings.problems import StationFileError
from linetender.settings.shipped import shipped

UNIT = "/etc/systemd/system/linetender@.service"


def command(*arguments: str | Path) -> tuple[int, str]:
    done = CliRunner().invoke(app, [str(each) for each in arguments])
    return done.exit_code, done.output


def contents(root: Path) -> dict[str, str]:
    """Return all files below a root, by their path in that system; links with their target."""
    return {
        f"/{path.relative_to(root)}": str(path.readlink())
        if path.is_symlink()
        else path.read_text()
        for path in sorted(root.rglob("*"))
        if path.is_symlink() or path.is_file()
    }


@pytest.fixture
def root(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty system; linetender itself lies where a service can see it."""
    monkeypatch.setattr(installation, "_UNSEEN", ())
    root = tmp_path / "system"
    root.mkdir()
    return root


def test_without_apply_everything_is_shown_and_nothing_done(root: Path) -> None:
    code, said = command("install", "--root", root)
    assert code == ExitCode.FINE
    for path, text in shipped_files().items():
        assert f"write {root}{path}:" in said
        assert all(line in said for line in text.splitlines())
    assert f"link {root}{CURRENT} -> {sys.prefix}" in said
    assert said.endswith("Nothing was changed. Add --apply to do this (as root).\n")
    assert contents(root) == {}


def test_what_is_installed_is_taken_back_whole(root: Path) -> None:
    code, said = command("install", "--root", root, "--apply")
    assert (code, said.splitlines()[-1]) == (ExitCode.FINE, "Done.")
    installed = contents(root)
    assert installed.pop(str(CURRENT)) == sys.prefix
    assert RECORD.name in {Path(path).name for path in installed}
    del installed[str(RECORD)]
    assert installed == shipped_files()
    code, said = command("uninstall", "--root", root, "--apply")
    assert code == ExitCode.FINE
    assert "sudo rm -r /etc/linetender" in said
    assert contents(root) == {}
    assert command("uninstall", "--root", root)[0] == ExitCode.DEVICE


def test_installing_twice_changes_nothing(root: Path) -> None:
    command("install", "--root", root, "--apply")
    first = contents(root)
    assert command("install", "--root", root, "--apply")[0] == ExitCode.FINE
    assert contents(root) == first


def test_a_file_of_somebody_else_is_never_written_over(root: Path) -> None:
    foreign = root / UNIT[1:]
    foreign.parent.mkdir(parents=True)
    foreign.write_text("[Service]\n")
    before = contents(root)
    code, said = command("install", "--root", root, "--apply")
    assert (code, contents(root)) == (ExitCode.DEVICE, before)
    assert str(foreign) in said
    assert "drop-in" in said


def test_a_file_that_was_changed_since_stays(root: Path) -> None:
    command("install", "--root", root, "--apply")
    changed = root / UNIT[1:]
    changed.write_text(changed.read_text() + "# mine\n")
    code, said = command("install", "--root", root, "--apply")
    assert code == ExitCode.DEVICE
    code, said = command("uninstall", "--root", root, "--apply")
    assert code == ExitCode.FINE
    assert f"leave {changed}: it was changed since" in said
    assert list(contents(root)) == [UNIT]


def test_an_update_can_be_gone_back_from_and_forward_again(root: Path, tmp_path: Path) -> None:
    venvs = [tmp_path / "1.0.0", tmp_path / "1.1.0"]
    for venv in venvs:
        venv.mkdir()
    old = Generation("1.0.0", str(venvs[0]), {UNIT: "old\n", "/etc/old": "gone in 1.1\n"}, ("a",))
    new = Generation("1.1.0", str(venvs[1]), {UNIT: "new\n", "/etc/new": "came in 1.1\n"}, ("a",))
    carry_out(installing(old, read_record(root), root), root)
    of_old = contents(root)
    carry_out(installing(new, read_record(root), root), root)
    of_new = contents(root)
    assert {of_new[UNIT], of_new["/etc/new"]} == {"new\n", "came in 1.1\n"}
    assert "/etc/old" not in of_new
    assert of_new[str(CURRENT)] == str(venvs[1])

    back = rolling_back(read_record(root))
    assert ("systemctl", "restart", "a") in back.commands
    carry_out(back, root)
    del of_old[str(RECORD)]
    assert {**contents(root), str(RECORD): ""} == {**of_old, str(RECORD): ""}
    carry_out(rolling_back(read_record(root)), root)
    assert contents(root)[UNIT] == "new\n"

    venvs[0].rmdir()
    with pytest.raises(NotInstallable, match=r"1\.0\.0 .* gone"):
        rolling_back(read_record(root))


@pytest.mark.parametrize("had", ["an older one", "nothing"])
def test_an_update_that_does_not_start_is_taken_back(
    had: str, root: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    venv = tmp_path / "1.0.0"
    venv.mkdir()
    old = Generation("1.0.0", str(venv), shipped_files(), ("linetender@shed.service",))
    link = below(root, CURRENT)
    ran = []

    def works(command: tuple[str, ...]) -> bool:
        ran.append((command, str(link.readlink())))
        return command[:2] != ("systemctl", "restart") or link.readlink() == venv

    module = sys.modules["linetender.cli.install"]
    monkeypatch.setattr(module, "SYSTEM", root)
    monkeypatch.setattr(module, "SYSTEMD_RUNS", root)
    monkeypatch.setattr(module, "_refuse_in_use", lambda: None)
    monkeypatch.setattr(module, "_works", works)
    if had == "an older one":
        carry_out(installing(old, read_record(root), root), root)
    else:
        unit = "linetender@shed.service"
        monkeypatch.setattr(module, "_generation", lambda *_: this_generation((unit,)))
    code, said = command("install", "--root", root, "--apply")
    assert code == ExitCode.FINDINGS
    restarts = [at for each, at in ran if each[:2] == ("systemctl", "restart")]
    if had == "an older one":
        assert "The new version does not start. Going back to 1.0.0." in said
        assert restarts == [sys.prefix, str(venv)]
        assert read_record(root).now == old
    else:
        assert "Going back" not in said
        assert restarts == [sys.prefix]
    assert str(link.readlink()) == restarts[-1]


def test_there_is_no_way_back_from_the_first(root: Path) -> None:
    command("install", "--root", root, "--apply")
    code, said = command("install", "--root", root, "--roll-back", "--apply")
    assert code == ExitCode.DEVICE
    assert "no way back" in said


def test_a_damaged_record_is_told(root: Path) -> None:
    record = below(root, RECORD)
    record.parent.mkdir(parents=True)
    record.write_text("{")
    code, said = command("install", "--root", root)
    assert code == ExitCode.DEVICE
    assert str(record) in said


@pytest.mark.parametrize(
    ("name", "shipped_as", "unit"),
    [
        ("shed.toml", "config/wearer_side_minimal.toml", "linetender@shed.service"),
        ("bench.toml", "config/second_boxes/bench.toml", "linetender-remote-sounder@bench.service"),
    ],
)
def test_a_file_is_run_by_the_unit_of_its_kind(
    name: str, shipped_as: str, unit: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(installation, "STATION_FILES", tmp_path)
    file = tmp_path / name
    text = shipped(shipped_as).read_text(encoding="utf-8")
    file.write_text(text, encoding="utf-8")
    stem = unit.partition("@")[2].removesuffix(".service")
    assert f'"{stem}"' in text
    assert unit_of(file) == unit
    other = file.rename(tmp_path / "other.toml")
    with pytest.raises(NotInstallable, match="Rename it"):
        unit_of(other)


def test_a_file_elsewhere_or_not_fit_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "shed.toml"
    file.write_text("schema = 1\n", encoding="utf-8")
    with pytest.raises(NotInstallable, match="Copy it there"):
        unit_of(file)
    monkeypatch.setattr(installation, "STATION_FILES", tmp_path)
    with pytest.raises(StationFileError):
        unit_of(file)


def test_an_environment_that_the_service_cannot_see_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(installation, "_UNSEEN", (sys.prefix,))
    code, said = command("install", "--root", tmp_path)
    assert code == ExitCode.DEVICE
    assert "cannot see this folder" in said


UNITS = sorted(path for path in shipped("systemd").iterdir() if path.suffix == ".service")


@pytest.mark.parametrize("unit", UNITS, ids=lambda path: path.name)
def test_systemd_reads_the_units_without_complaint(unit: Path, tmp_path: Path) -> None:
    verify(unit, tmp_path)


def verify(unit: Path, folder: Path) -> None:
    text = unit.read_text(encoding="utf-8")
    instance = folder / unit.name.replace("@", "@shed")
    instance.write_text(text.replace(f"{CURRENT}/bin/linetender", sys.executable))
    done = systemd_analyze("verify", "--recursive-errors=no", "--man=no", str(instance))
    assert (done.returncode, done.stdout + done.stderr) == (0, "")


@pytest.mark.parametrize("unit", UNITS, ids=lambda path: path.name)
def test_the_walls_around_the_units_are_as_high_as_promised(unit: Path, tmp_path: Path) -> None:
    instance = tmp_path / unit.name.replace("@", "@shed")
    instance.write_text(unit.read_text(encoding="utf-8"))
    # The threshold is in tenths: an exposure of 1.5.
    done = systemd_analyze("security", "--offline=yes", "--threshold=15", str(instance))
    assert done.returncode == 0, done.stdout


def systemd_analyze(*arguments: str) -> subprocess.CompletedProcess[str]:
    try:
        return subprocess.run(
            ["systemd-analyze", *arguments], capture_output=True, text=True, check=False, timeout=60
        )
    except FileNotFoundError:  # a bare container; .ci/run installs it there
        pytest.skip("systemd-analyze is not installed here")
