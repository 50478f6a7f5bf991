"""The station file: models of everything a person writes about their station.

`config/README.md` lists every key with unit, range, default and reason.
"""

from typing import Annotated, Any, Literal

from pydantic import Field

from linetender.core.plan import Arrangement
from linetender.core.plan_faults import GREATEST_ZERO_PA
from linetender.settings.line_tables import DuctTable, FanTable, FilterTable, IntakeTable
from linetender.settings.rule_file import RuleChange
from linetender.settings.strict_model import SLUG_RULE, AnySignal, Reason, Slug, StrictModel

ORIFICE_EXPONENT = 0.5
"""Δp goes with the square of the flow where it is all loss of velocity: orifice and pitot."""

HOSE_EXPONENT = 0.54
"""Chosen: a hose and hood are nearly all turbulent loss; 65 % of flow is 45 % of pressure."""

DUCT_EXPONENT = 0.57
"""Chosen: Blasius' smooth pipe, Δp ∝ Q^1.75, so 4/7."""


class StationTable(StrictModel):
    """`[station]`: which station this is and where its box stands."""

    id: Slug = Field(description=f"a short name for topics and file names, {SLUG_RULE}")
    arrangement: Annotated[Arrangement, Field(strict=False)] = Field(
        description='where the box stands: "fan_side" or "wearer_side"'
    )
    exit_time_s: float | None = Field(
        None, ge=1, le=300, description="seconds to leave the room, walked in full gear"
    )
    required_airflow_l_min: float | None = Field(
        None, ge=20, le=2000, description="least airflow at the hood, L/min"
    )
    altitude_m: float | None = Field(
        None, ge=-430, le=5000, description="metres above sea level, as on a map"
    )


class _Element(StrictModel):
    normal_pa: float | None = Field(
        None, ge=0.5, le=5000, description="pressure across the element in normal use, Pa"
    )
    zero_pa: float = Field(
        0.0,
        ge=-GREATEST_ZERO_PA,
        le=GREATEST_ZERO_PA,
        description="what its sensor reads with the ports joined, Pa",
    )


class HoodHoseElement(_Element):
    """Hose and hood themselves: hood-end pressure against the room."""

    kind: Literal["hood_hose"]

    @property
    def exponent(self) -> float:
        """n of Q = k·Δp^n."""
        return HOSE_EXPONENT


class OrificeElement(_Element):
    """A sharp-edged orifice plate in a round pipe."""

    kind: Literal["orifice"]
    bore_mm: float = Field(ge=5, le=500, description="diameter of the hole, mm, less than the pipe")
    pipe_mm: float = Field(ge=20, le=1000, description="inner diameter of the pipe, mm")

    @property
    def exponent(self) -> float:
        """n of Q = k·Δp^n."""
        return ORIFICE_EXPONENT


class PitotElement(_Element):
    """A pitot tube."""

    kind: Literal["pitot"]

    @property
    def exponent(self) -> float:
        """n of Q = k·Δp^n."""
        return ORIFICE_EXPONENT


class DuctElement(_Element):
    """A straight length of duct between two taps."""

    kind: Literal["duct"]

    @property
    def exponent(self) -> float:
        """n of Q = k·Δp^n."""
        return DUCT_EXPONENT


class FittedElement(_Element):
    """Any element that was calibrated where it stands: Q = k·Δp^n."""

    kind: Literal["fitted"]
    k: float = Field(ge=0.1, le=1000, description="L/min per Pa^n at the reference density")
    n: float = Field(ge=0.5, le=1, description="exponent of the pressure, no unit")
    reference_density_kg_m3: float = Field(
        1.2, ge=0.5, le=1.5, description="air density at which k is stated, kg/m³"
    )
    standard_uncertainty_percent: float = Field(
        5.0, ge=0.1, le=20, description="standard uncertainty of the airflow, % of the airflow"
    )
    signal: Literal["duct_pressure_pa", "hood_pressure_pa"] | None = Field(
        None, description='the pressure it was calibrated by, where a station has both: "duct_…"'
    )

    @property
    def exponent(self) -> float:
        """n of Q = k·Δp^n."""
        return self.n


Element = HoodHoseElement | OrificeElement | PitotElement | DuctElement | FittedElement


class HoodTable(StrictModel):
    """`[hood]`: what decides how fast the air in it goes bad."""

    volume_l: float = Field(8.0, ge=1, le=200, description="free volume of the hood, litres")
    co2_l_min: float = Field(
        0.73, ge=0.1, le=3, description="carbon dioxide that the wearer gives off, L/min at 20 °C"
    )
    outlet_cm2: float | None = Field(
        None, ge=0.5, le=2000, description="open area by which the air leaves the hood, cm²"
    )


class DeviceTable(StrictModel):
    """`[devices.NAME]`: one sensor, switch, buzzer or lamp."""

    driver: str = Field(min_length=1, max_length=64, description="name of a driver")
    signals: Annotated[tuple[AnySignal, ...], Field(strict=False)] | None = Field(
        None, min_length=1, description="list of the signals that a sensor gives"
    )
    box: Slug | None = Field(
        None,
        alias="from",
        description=f'the second box whose readings a "forwarded" device takes, {SLUG_RULE}',
    )
    contact: Literal["answer", "hook", "fan_mains", "co_alarm", "arm"] | None = Field(
        None, description='role of a switch: "answer", "hook", "fan_mains", "co_alarm" or "arm"'
    )
    output: Literal["buzzer", "lamp_red", "lamp_yellow", "lamp_green", "keep_alive"] | None = Field(
        None,
        description="role of an output: "
        '"buzzer", "lamp_red", "lamp_yellow", "lamp_green", "keep_alive"',
    )
    options: dict[str, Any] = Field(
        default_factory=dict, description="a table with the driver's own options"
    )


class RulesTable(StrictModel):
    """`[rules]`: which rule set, and what this station changes in it."""

    base: str = Field(
        "default",
        min_length=1,
        max_length=200,
        description='"default", or the path of a rule file (.toml) beside the station file',
    )
    change: dict[str, RuleChange] = Field(
        default_factory=dict, description="one table per rule that is changed"
    )


class BrokerSettings(StrictModel):
    """`[broker]`: the MQTT broker."""

    host: str = Field(min_length=1, max_length=253, description="name or address of the broker")
    port: int = Field(1883, ge=1, le=65535, description="TCP port")
    user: str | None = Field(
        None,
        min_length=1,
        max_length=128,
        description="user name",
        json_schema_extra={"private": True},
    )
    password_file: str | None = Field(
        None,
        min_length=1,
        max_length=400,
        description="path of a file that holds the password, from the station file's folder",
        json_schema_extra={"private": True},
    )
    tls: bool = Field(False, description="true to encrypt the connection")
    ca_file: str | None = Field(
        None,
        min_length=1,
        max_length=400,
        description="with tls: path of a PEM file with the certificates to trust, instead of "
        "the system's, from the station file's folder",
        json_schema_extra={"private": True},
    )


class StationBroker(BrokerSettings):
    """`[broker]` of a station."""

    commands: bool = Field(False, description="true to take commands over the broker")
    discovery_prefix: str | None = Field(
        None,
        pattern=r"^[A-Za-z0-9_/-]{1,64}$",
        description="topic under which home automation looks for devices",
    )


class ContactTable(StrictModel):
    """`[[contacts]]`: somebody who is told."""

    name: Slug = Field(description=f"a short name for topics, {SLUG_RULE}")


class FarEndTable(StrictModel):
    """`[[far_end]]`: a second box."""

    name: Slug = Field(
        description=f"the name under which the box signs in at the broker, {SLUG_RULE}"
    )
    role: Literal["wearer", "attendant"] = Field(
        description='who is near it: "wearer" or "attendant"'
    )


class CheckInTable(StrictModel):
    """`[check_in]`: ask whether the wearer is well when no good pulse is seen."""

    every_min: float = Field(20.0, ge=1, le=60, description="minutes between two signs of life")


class ReminderTable(StrictModel):
    """`[reminder]`: remind the wearer of how long the hood has been on."""

    every_min: float = Field(60.0, ge=5, le=480, description="minutes between two reminders")


class ProofTable(StrictModel):
    """`[proof]`: how often the alarms are proven on the real line."""

    every_days: float = Field(
        90.0, ge=1, le=730, description="days after which a proof test is due again"
    )


class RecordingTable(StrictModel):
    """`[recording]`: where sessions are written."""

    directory: str = Field(
        min_length=1, max_length=400, description="path of a folder, from the station file's folder"
    )
    sync_interval_s: float = Field(
        1.0, ge=0.1, le=60, description="seconds between two fsyncs: what a power cut may cost"
    )
    rotate_minutes: float = Field(
        240.0, ge=1, le=1440, description="minutes of a session that one file holds"
    )
    rotate_mb: float = Field(
        50.0, ge=1, le=1000, description="size that no file grows far beyond, MB"
    )
    keep_days: float = Field(
        90.0, ge=1, le=3650, description="days after which a session is deleted"
    )
    keep_mb: float = Field(
        2000.0, ge=10, le=1_000_000, description="MB over which the oldest sessions are deleted"
    )
    raw_frames: bool = Field(
        False, description="true to record what devices answer as it came, besides the readings"
    )
    compress: bool = Field(True, description="true to compress files that are complete (gzip)")


class ExceptionTable(StrictModel):
    """`[[exceptions]]`: a safety finding that this station accepts."""

    finding: str = Field(min_length=1, max_length=64, description="id of the finding")
    reason: Reason = Field(description="why it is accepted; every report shows it")


class StationFile(StrictModel):
    """The whole file."""

    schema_: Literal[1] = Field(alias="schema", description="version of the file's form: 1")
    kind: Literal["station"] = Field("station", description='"station"')
    station: StationTable = Field(description="a table: id, arrangement, …")
    element: Annotated[Element, Field(discriminator="kind")] | None = Field(
        None, description='a table with kind = "hood_hose", "orifice", "pitot", "duct" or "fitted"'
    )
    hood: HoodTable = Field(HoodTable.model_validate({}), description="a table")
    fan: FanTable = Field(FanTable.model_validate({}), description="a table")
    filter: FilterTable | None = Field(None, description="a table")
    duct: Annotated[tuple[DuctTable, ...], Field(strict=False)] = Field(
        (), max_length=32, description="tables [[duct]], in the order of the air"
    )
    intake: IntakeTable = Field(IntakeTable.model_validate({}), description="a table")
    devices: dict[Slug, DeviceTable] = Field(
        min_length=1, description="one table per device, e.g. [devices.air]"
    )
    rules: RulesTable = Field(RulesTable.model_validate({}), description="a table")
    broker: StationBroker | None = Field(None, description="a table")
    contacts: Annotated[tuple[ContactTable, ...], Field(strict=False)] = Field(
        (), max_length=32, description="tables [[contacts]]"
    )
    far_end: Annotated[tuple[FarEndTable, ...], Field(strict=False)] = Field(
        (), max_length=16, description="tables [[far_end]]"
    )
    check_in: CheckInTable | None = Field(None, description="a table")
    reminder: ReminderTable | None = Field(None, description="a table")
    proof: ProofTable = Field(ProofTable.model_validate({}), description="a table")
    recording: RecordingTable | None = Field(None, description="a table")
    exceptions: Annotated[tuple[ExceptionTable, ...], Field(strict=False)] = Field(
        (), max_length=32, description="tables [[exceptions]]"
    )
