"""A compiled station: everything the core needs, as plain numbers.

`linetender.settings` makes a Plan from the files that people write; a recording
carries the Plan in its header, and replay reads the Plan alone. All limits are
finite (checked at compile and by `fault_of_plan` after decoding).
"""

from enum import StrEnum

import msgspec

from linetender.core.instants import SECOND_NS
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage
from linetender.core.step_plan import StepPlan


class Arrangement(StrEnum):
    """Where the box stands: beside the fan, or at the wearer's end of the hose."""

    FAN_SIDE = "fan_side"
    WEARER_SIDE = "wearer_side"


class _Condition(msgspec.Struct, frozen=True, tag_field="is", omit_defaults=True):
    """Common to all conditions: a tagged, immutable piece of data."""


class Below(_Condition, tag="below", frozen=True):
    """Present under `limit`, until at `limit + deadband` or over (both in the signal's unit)."""

    signal: Signal
    limit: float
    deadband: float = 0.0


class Above(_Condition, tag="above", frozen=True):
    """Present over `limit`, until at `limit - deadband` or under."""

    signal: Signal
    limit: float
    deadband: float = 0.0


class Outside(_Condition, tag="outside", frozen=True):
    """Present at `low` or under and at `high` or over, until inside both by the deadband."""

    signal: Signal
    low: float
    high: float
    deadband: float = 0.0


class BelowBaseline(_Condition, tag="below_baseline", frozen=True):
    """Present at `by` or more under the wearer's baseline of the signal, in the signal's unit.

    Attributes:
        signal: The quantity.
        by: Distance under the baseline.
        deadband: Distance by which it must recover.
        also_below: Where the baseline is `normal_from` or more, also present under this value.
        normal_from: See `also_below`.

    Unknown until a baseline is set.
    """

    signal: Signal
    by: float
    deadband: float = 0.0
    also_below: float | None = None
    normal_from: float = 0.0


class AboveBaseline(_Condition, tag="above_baseline", frozen=True):
    """Present at `by` or more over the wearer's baseline of the signal, in the signal's unit."""

    signal: Signal
    by: float
    deadband: float = 0.0


class Falls(_Condition, tag="falls", frozen=True):
    """Present when window means fell by `by` or more within `within_ns`."""

    signal: Signal
    by: float
    within_ns: int
    deadband: float = 0.0


class Rises(_Condition, tag="rises", frozen=True):
    """Present when window means rose by `by` or more within `within_ns`."""

    signal: Signal
    by: float
    within_ns: int
    deadband: float = 0.0


class Jumps(_Condition, tag="jumps", frozen=True):
    """Present when window means exceed `above` having been under `from_below` within `within_ns`.

    Stays present until a mean is at `until` or under, or a baseline is set.
    """

    signal: Signal
    above: float
    from_below: float
    until: float
    within_ns: int


class Side(StrEnum):
    """Which way a change is the wrong way."""

    DOWN = "down"
    UP = "up"
    BOTH = "both"


class Drift(_Condition, tag="drift", frozen=True):
    """Present when deviations of window means, summed up, exceed what chance brings (CUSUM).

    Attributes:
        signal: The quantity.
        h: The sum from which on it is present, in units of `sigma` (> 0).
        k: Taken off each deviation, in units of `sigma` (>= 0): half of the shift to be found.
        sigma: Standard deviation of a window mean while all is well, in the signal's unit
            (> 0); 1 where h and k are in the signal's unit themselves.
        reference: The value while all is well; None is the wearer's own baseline.
        side: Which deviations count.
    """

    signal: Signal
    h: float
    k: float
    sigma: float = 1.0
    reference: float | None = None
    side: Side = Side.DOWN


class Heading(_Condition, tag="heading", frozen=True):
    """Present when the smoothed value is past `limit`, or will be within `within_ns`.

    Attributes:
        signal: The quantity.
        limit: In the signal's unit.
        side: `down`: the limit lies below; `up`: it lies above.
        within_ns: How far it looks ahead; 0 judges the smoothed value alone.
        over_ns: The slope is taken over so long (at least 12 windows).
        smoothing: Weight of the latest window mean in the level (over 0, to 1).
        deadband: How far past the limit it must recover.
    """

    signal: Signal
    limit: float
    side: Side
    within_ns: int
    over_ns: int
    smoothing: float = 0.2
    deadband: float = 0.0


class Stuck(_Condition, tag="stuck", frozen=True):
    """Present when the value (raw word over scale) stayed identical for `after_ns`."""

    signal: Signal
    after_ns: int


class Stale(_Condition, tag="stale", frozen=True):
    """Present when none of the signals had a good reading for `after_ns`.

    Attributes:
        signals: All of them must be silent.
        after_ns: How long.
        followed: Id of another rule; present only if that rule's condition held
            within `followed_within_ns` before the last good reading.
        followed_within_ns: See `followed`.
    """

    signals: tuple[Signal, ...]
    after_ns: int
    followed: str = ""
    followed_within_ns: int = 60 * SECOND_NS


class OnContact(_Condition, tag="contact", frozen=True):
    """Present while the contact is in the state named (`open`, `closed`, `broken`)."""

    contact: str
    when: str


class Held(_Condition, tag="held", frozen=True):
    """Present from the instant at which the contact has been closed for `after_ns`."""

    contact: str
    after_ns: int


class OnFact(_Condition, tag="fact", frozen=True):
    """Present while the fact holds for any subject, or for the one named."""

    fact: str
    subject: str = ""


class FactStale(_Condition, tag="fact_stale", frozen=True):
    """Present when the fact was not confirmed (active) for `after_ns`, once worn or in pre-use."""

    fact: str
    subject: str
    after_ns: int


class CheckInMissed(_Condition, tag="check_in_missed", frozen=True):
    """Present while a check-in is overdue by `after_ns`; a press ends it."""

    after_ns: int


class AnyOf(_Condition, tag="any_of", frozen=True):
    """Present if any part is; absent if all are; else unknown."""

    conditions: tuple["Condition", ...]


class AllOf(_Condition, tag="all_of", frozen=True):
    """Present if all parts are; absent if any is; else unknown."""

    conditions: tuple["Condition", ...]


Condition = (
    Below
    | Above
    | Outside
    | BelowBaseline
    | AboveBaseline
    | Falls
    | Rises
    | Jumps
    | Drift
    | Heading
    | Stuck
    | Stale
    | OnContact
    | Held
    | OnFact
    | FactStale
    | CheckInMissed
    | AnyOf
    | AllOf
)


class RisesTo(msgspec.Struct, frozen=True):
    """The priority rises to `priority` when the alarm has been present for `after_ns`."""

    priority: Priority
    after_ns: int


class RulePlan(msgspec.Struct, frozen=True, omit_defaults=True):
    """One compiled alarm rule.

    Attributes:
        id: Its name in the rule file.
        condition: What makes it present.
        priority: At the raise.
        on_delay_ns: The condition must hold this long to raise.
        off_delay_ns: It must be absent this long, ending on a good reading, to clear.
        stages: Outside them it starts nothing.
        latching: Stays until reset.
        killer: A rule that can kill: an answer buys at most 15 s of quiet, and while
            worn nobody can shelve, suppress or pause it.
        loss_of_air: In idle and pre-use it works only while the air watch is armed.
        technical: Told apart from physiological ones.
        suppressed_by: Rules whose presence withholds a new raise of this one.
        rises_to: Priority with time.
        realarm_ns: An answered alarm sounds again after this; 0 means never.
        calls: Names of the contacts to tell.
        say: One sentence for people.
    """

    id: str
    condition: Condition
    priority: Priority
    on_delay_ns: int
    off_delay_ns: int
    stages: tuple[Stage, ...]
    latching: bool = False
    killer: bool = False
    loss_of_air: bool = False
    technical: bool = False
    suppressed_by: tuple[str, ...] = ()
    rises_to: RisesTo | None = None
    realarm_ns: int = 0
    calls: tuple[str, ...] = ()
    say: str = ""


class AirPlan(msgspec.Struct, frozen=True, omit_defaults=True):
    """How air is derived from the pressure across the flow element.

    Attributes:
        signal: `duct_pressure_pa` or `hood_pressure_pa`.
        normal_pa: The taught or stated normal pressure of this line, over its zero (Pa, > 0).
        exponent: n of Q = k·Δp^n (0.5 to 1).
        pressure_factor: Multiplies the sensor's reading (thermal sensors: calibration
            pressure over ambient pressure; else 1).
        zero_pa: What the sensor reads with its ports joined (Pa): every reading is taken
            over it. Baselines and `normal_pa` are over it already.
        pinched_percent, duct_off_percent: Air (% of the normal) as it was taught with the
            duct pinched and off; None where it was not.
        k_l_min: k in L/min per Pa^n at the station's air density; None where the
            line is not calibrated: then no L/min exists.
        relative_uncertainty: Standard uncertainty of the airflow over the airflow, 1.
        required_l_min: Qmin, the user's required minimum; None where not calibrated.
    """

    signal: Signal
    normal_pa: float
    exponent: float
    pressure_factor: float = 1.0
    k_l_min: float | None = None
    relative_uncertainty: float = 0.0
    required_l_min: float | None = None
    zero_pa: float = 0.0
    pinched_percent: float | None = None
    duct_off_percent: float | None = None


class CheckInPlan(msgspec.Struct, frozen=True):
    """Ask whether the wearer is well, when no good pulse is seen.

    Attributes:
        every_ns: Interval between two signs of life.
        warn_ns: The pre-alert comes this long before it is due.
    """

    every_ns: int
    warn_ns: int


class FarEndPlan(msgspec.Struct, frozen=True):
    """A second box that the station file names; role is `wearer` or `attendant`."""

    name: str
    role: str


class Plan(msgspec.Struct, frozen=True, omit_defaults=True):
    """A whole station.

    Attributes:
        station: Its id.
        arrangement: Where the box stands.
        air: How air is derived; None on a station without an air sensor ("air NOT watched").
        signals: Signals that its devices give (without the derived ones).
        contacts: Roles of its switches.
        rules: In the order of the file; ties are told in that order.
        check_in: None where it is off.
        far_ends: Second boxes.
        contact_names: People or topics that can be told.
        exit_time_s: Measured time to leave the contaminated area (s).
        exceptions: Safety findings that the station file grants, with their reasons.
        steps: Of the pre-use check, in the order in which they are shown.
        remind_ns: While worn a reminder of the time is given this often; 0 means never.
    """

    station: str
    arrangement: Arrangement
    air: AirPlan | None
    signals: tuple[Signal, ...]
    contacts: tuple[str, ...]
    rules: tuple[RulePlan, ...]
    check_in: CheckInPlan | None = None
    far_ends: tuple[FarEndPlan, ...] = ()
    contact_names: tuple[str, ...] = ()
    exit_time_s: float | None = None
    exceptions: tuple[str, ...] = ()
    steps: tuple[StepPlan, ...] = ()
    remind_ns: int = 0
