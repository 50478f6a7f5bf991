"""The campaign's table as it stands in `campaign.toml`, checked whole."""

import tomllib
from enum import StrEnum
from pathlib import Path

import msgspec

TABLE = Path(__file__).with_name("campaign.toml")


class Level(StrEnum):
    """Where a fault is injected."""

    VIRTUAL = "virtual"
    """Into the live station in virtual time, by `injectors.py`."""
    LIVE = "live"
    """Into real processes, by the test that is named."""
    GUEST = "guest"
    """Into the virtual Pi, by the part of its bench (`guest/bench.py`) that is named."""


class Kind(StrEnum):
    """What the fault is one of."""

    AIR = "air"
    WEARER = "wearer"
    SENSOR = "sensor"
    BUS = "bus"
    RADIO = "radio"
    BROKER = "broker"
    NETWORK = "network"
    DISK = "disk"
    CLOCK = "clock"
    PROCESS = "process"
    CONFIGURATION = "configuration"
    HUMAN = "human"


class Arrangement(StrEnum):
    """Where the box stands; ANY where that plays no part."""

    WEARER_SIDE = "wearer_side"
    FAN_SIDE = "fan_side"
    ANY = "any"


class Stage(StrEnum):
    """The station's stage at the injection; ANY where that plays no part."""

    IDLE = "idle"
    PRE_USE = "pre_use"
    WORN = "worn"
    ANY = "any"


class Priority(StrEnum):
    """Of an expected alarm."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


class Case(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What one station at one stage is to do.

    Attributes:
        arrangement, stage: Which.
        expect: The rule that must sound; "none": nothing may.
        priority: Its priority at least.
        within_s: From the injection to the Demand (s); for "none": how long silence is heard;
            None where the test that is named holds the deadline.
        recovers_within_s: From the mending until the alarm's condition is over (s).
        also: Rules that may sound besides.
        forbids: Rules that must not sound; "*": all that are neither expected nor in `also`.
        station: The station's file, where it is not the arrangement's own.
        at_s: When it is injected; None: when the stage has settled.
        far_within_s: From the injection until the second boxes are to sound (s).
        calls_within_s: From the injection until the contacts are to be called (s).
        again_within_s: From the injection until it sounds again after an answer (s).
    """

    arrangement: Arrangement
    stage: Stage
    expect: str
    within_s: float | None = None
    priority: Priority | None = None
    recovers_within_s: float | None = None
    also: tuple[str, ...] = ()
    forbids: tuple[str, ...] = ("*",)
    station: str = ""
    at_s: float | None = None
    far_within_s: float | None = None
    calls_within_s: float | None = None
    again_within_s: float | None = None


class Row(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One row of the file: a fault, and its cases.

    Attributes:
        id: Its name.
        kind: What it is one of.
        hazard: What happens, for people.
        level: Where it is injected.
        inject: Name of the injector; a test's `file::name`; a part of the bench.
        reason: Why that is to be expected.
        case: Arrangement by stage.
        lasts_s: From injection to mending (s); 0: it is not mended.
    """

    id: str
    kind: Kind
    hazard: str
    level: Level
    inject: str
    reason: str
    case: tuple[Case, ...]
    lasts_s: float = 0.0


class Fault(msgspec.Struct, frozen=True):
    """One fault of the campaign: a row with one of its cases."""

    id: str
    row: Row
    case: Case

    @property
    def within_s(self) -> float:
        """The case's limit (s), which every virtual fault has."""
        return self.case.within_s or 0.0


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    schema: int
    fault: tuple[Row, ...]


def load_faults(path: Path = TABLE) -> tuple[Fault, ...]:
    """Return every fault of the table.

    Raises:
        msgspec.ValidationError: the table is not in order.
        ValueError: the same, where a rule spans several keys.
    """
    rows = msgspec.convert(tomllib.loads(path.read_text(encoding="utf-8")), _File).fault
    faults = [Fault(_id(row, case), row, case) for row in rows for case in row.case]
    for fault in faults:
        _check(fault)
    names = [fault.id for fault in faults]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"{path.name}: each id was expected once, not so {', '.join(twice)}")
    return tuple(faults)


def _id(row: Row, case: Case) -> str:
    parts = (row.id, case.station or case.arrangement.value, case.stage.value)
    return ".".join(part for part in parts if part != "any")


def _check(fault: Fault) -> None:
    case, row = fault.case, fault.row
    if (case.expect == "none") != (case.priority is None):
        raise ValueError(f"{fault.id}: a priority was expected with a rule, and none with none")
    if row.level is not Level.VIRTUAL:
        return
    if "any" in (case.arrangement, case.stage):
        raise ValueError(f"{fault.id}: a virtual fault needs its arrangement and stage")
    if case.within_s is None:
        raise ValueError(f"{fault.id}: within_s was expected of a virtual fault")
    if (case.recovers_within_s is None) != (case.expect == "none" or row.lasts_s == 0):
        raise ValueError(f"{fault.id}: recovers_within_s was expected with a mended alarm alone")
