"""A loaded station: its plan, its devices, and what may be shown of its settings."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from linetender.airline.filter_outlook import FilterCare, FilterOutlook
from linetender.core.plan import Plan
from linetender.core.signals import Signal
from linetender.settings.problems import Finding
from linetender.settings.rule_budget import RuleBudget
from linetender.settings.station_file import RecordingTable, StationBroker
from linetender_drivers.registry import DeviceOptions, DriverSpec


@dataclass(frozen=True)
class Device:
    """One device of the station file, checked against its driver.

    Attributes:
        name: Its name in the station file.
        driver: Name of its driver.
        spec: What the driver says of itself.
        options: The driver's options, validated by the driver's own model.
        signals: Signals of a sensor; empty for other kinds.
        contact: Role of a switch, else None.
        output: Role of an output, else None.
    """

    name: str
    driver: str
    spec: DriverSpec
    options: DeviceOptions
    signals: tuple[Signal, ...] = ()
    contact: str | None = None
    output: str | None = None


def accepted(station: "Station") -> list[str]:
    """Return a line for each thing that the file accepts, or that its user should know."""
    granted = [f"Accepted: {text}" for text in station.plan.exceptions]
    return [*granted, *(f"LOOK  {finding.expected}" for finding in station.advice)]


@dataclass(frozen=True)
class FilterStanding:
    """How a station's filter stands.

    Attributes:
        care: When it counts as due.
        outlook: As its memory says; None where it holds nothing of a filter.
    """

    care: FilterCare
    outlook: FilterOutlook | None


@dataclass(frozen=True)
class Station:
    """A station file that was found fit to run.

    Attributes:
        path: The file, as it was given.
        plan: What the core needs.
        devices: In the order of the file.
        shown: The settings as plain data without private fields (their names stand
            under `left_out`), for recording headers.
        findings: Safety findings that the file grants as exceptions.
        broker: The MQTT broker, or None; its password file is a full path.
        recording_directory: Where sessions go, or None.
        recording: How they are written and for how long they are kept, or None.
        advice: Findings that do not refuse the station and that it does not grant.
        budgets: Alarm budgets of the rules about the air.
        calibrations: What the station's memory has in force, for recording headers.
        expired: What of it should be made again, for people.
        filter: How its filter stands; None where the file has no `[filter]`.
        proof_every_days: Days after which a proof test is due again.
    """

    path: Path
    plan: Plan
    devices: tuple[Device, ...]
    shown: dict[str, Any]
    findings: tuple[Finding, ...]
    broker: StationBroker | None
    recording_directory: Path | None = None
    recording: RecordingTable | None = None
    advice: tuple[Finding, ...] = ()
    budgets: tuple[RuleBudget, ...] = ()
    calibrations: tuple[dict[str, Any], ...] = ()
    expired: tuple[str, ...] = ()
    proof_every_days: float = 90.0
    filter: FilterStanding | None = None
