"""Load a station file: read, validate, compile, judge. The one way into a Station."""

from pathlib import Path

from pydantic import ValidationError

from linetender.settings.air_budget import budgets_of
from linetender.settings.case import Case
from linetender.settings.compile import compile_plan
from linetender.settings.compile_pre_use import with_steps
from linetender.settings.compile_proof import with_proof_step, with_walk
from linetender.settings.devices import FindSpec, devices_of
from linetender.settings.explain import explain
from linetender.settings.filter_care import with_filter
from linetender.settings.join_memory import with_memory, with_taught_faults
from linetender.settings.problems import Finding, Problem, StationFileError
from linetender.settings.remembered import Recall, Remembered, nothing_recalled
from linetender.settings.rules import Rules, rules_of
from linetender.settings.safety_lint import lint
from linetender.settings.shown import shown_settings
from linetender.settings.station import Device, Station
from linetender.settings.station_checks import faults_of_station
from linetender.settings.station_file import StationBroker, StationFile
from linetender.settings.toml_file import TomlFile, read_toml
from linetender_drivers.registry import find_spec as installed_spec


def load_station(
    path: Path, find_spec: FindSpec = installed_spec, recall: Recall = nothing_recalled
) -> Station:
    """Load a station file and everything it names.

    Args:
        path: The station file.
        find_spec: Where to look up drivers; tests give their own.
        recall: Where to ask what was taught and calibrated on this station.

    Returns:
        A station that is fit to run; its findings are those that it grants itself, its
        advice those that stop nothing.

    Raises:
        StationFileError: the file, its rule file, a device or the station's safety is
            not in order; it carries every problem found.
    """
    return station_of(read_toml(path), path, find_spec, recall)


def station_of(
    toml: TomlFile,
    path: Path,
    find_spec: FindSpec = installed_spec,
    recall: Recall = nothing_recalled,
) -> Station:
    """Make a station of what was read, or of settings out of a recording.

    Args:
        toml: The settings.
        path: The station file; relative paths in the settings begin at its folder.
        find_spec, recall: As for `load_station`.

    Raises:
        StationFileError: as for `load_station`.
    """
    rules, devices = _looked_up(station := validated(toml), toml, find_spec)
    station = _joined(station, devices, (remembered := recall(station.station.id)), toml)
    plan = with_taught_faults(compile_plan(station, rules, devices, toml), remembered.taught)
    remembered, filter_kept = with_filter(remembered, station, plan.air)
    plan = with_steps(plan, station, devices, remembered)
    budgets = budgets_of(station, plan, devices)
    plan = with_proof_step(plan, station, devices, budgets, remembered.proofs)
    granted, advice = _judged(Case(station, rules, plan, devices, budgets, toml))
    return Station(
        path=path,
        plan=plan,
        devices=devices,
        shown=shown_settings(toml, devices),
        findings=granted,
        broker=_with_full_path(station.broker, path),
        recording_directory=_recordings(station, path),
        recording=station.recording,
        advice=advice,
        budgets=budgets,
        calibrations=remembered.shown,
        expired=remembered.expired,
        proof_every_days=station.proof.every_days,
        filter=filter_kept,
    )


def _joined(
    station: StationFile, devices: tuple[Device, ...], remembered: Remembered, toml: TomlFile
) -> StationFile:
    """Return the file with what the memory has in force."""
    return with_walk(with_memory(station, devices, remembered, toml), remembered.proofs)


def _judged(case: Case) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """Return what the station grants itself, and mere advice; refuse it for anything else."""
    refused, granted, advice = _parted(lint(case), case.station)
    if refused:
        raise StationFileError(_in_order(refused, case.toml.file))
    return granted, advice


def validated(toml: TomlFile) -> StationFile:
    """Return the station file's tables, checked; nothing it names is looked up yet.

    Raises:
        StationFileError: a key is unknown, missing or out of range.
    """
    try:
        return StationFile.model_validate(toml.data)
    except ValidationError as error:
        raise StationFileError(_in_order(explain(error, StationFile, toml), toml.file)) from error


def _looked_up(
    station: StationFile, toml: TomlFile, find_spec: FindSpec
) -> tuple[Rules, tuple[Device, ...]]:
    """Find the rules and drivers that the file names; tell what is wrong with both at once."""
    problems = faults_of_station(station, toml)
    rules, devices = Rules((), ()), tuple[Device, ...]()
    try:
        rules = rules_of(station, toml)
    except StationFileError as error:
        problems += error.problems
    try:
        devices = devices_of(station, toml, find_spec)
    except StationFileError as error:
        problems += error.problems
    if problems:
        raise StationFileError(_in_order(problems, toml.file))
    return rules, devices


def _in_order(problems: list[Problem], first: str) -> list[Problem]:
    """Sort by line, those of the station file before those of its rule file."""
    return sorted(problems, key=lambda each: (each.file != first, each.line or 0, each.key))


def _parted(
    findings: list[Finding], station: StationFile
) -> tuple[list[Problem], tuple[Finding, ...], tuple[Finding, ...]]:
    """Part the findings: those that refuse the station, those it grants, mere advice."""
    names = {exception.finding for exception in station.exceptions}
    granted = tuple(each for each in findings if each.grantable and each.name in names)
    others = [each for each in findings if each not in granted]
    advice = tuple(each for each in others if not each.refuses)
    return [each for each in others if each.refuses], granted, advice


def _with_full_path(broker: StationBroker | None, path: Path) -> StationBroker | None:
    if broker is None or broker.password_file is None:
        return broker
    full = str(_beside(path, broker.password_file))
    return broker.model_copy(update={"password_file": full})


def _recordings(station: StationFile, path: Path) -> Path | None:
    return None if station.recording is None else _beside(path, station.recording.directory)


def _beside(path: Path, written: str) -> Path:
    """A path in a station file starts at that file's folder."""
    return path.resolve().parent / Path(written).expanduser()
