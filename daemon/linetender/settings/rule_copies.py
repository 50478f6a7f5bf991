"""Rules of which a station has one for each of its parts, or none without the part."""

from typing import NamedTuple

from linetender.core.fact_names import FactName
from linetender.core.signals import Signal
from linetender.settings.compile_condition import Fitted
from linetender.settings.rule_file import EACH_FAR_END, RuleEntry
from linetender.settings.station import Device
from linetender.settings.station_file import FarEndTable

EACH_OUTPUT = "each_output"
"""As subject of `fact`: one rule per sounder, lamp and other output."""

EACH_OTHER_DEVICE = "each_other_device"
"""As subject of `fact`: one rule per device of which no other rule tells that it failed."""

THE_NAME = "{name}"
"""In what such a rule says: the name of its part."""

_OF_BROKER = frozenset(
    {FactName.BROKER_LOST, FactName.DELIVERY_CONFIRMED, FactName.DELIVERY_REFUSED}
)
_OF_OXIMETER = frozenset({Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM})


class RuleCopy(NamedTuple):
    """A rule for one part of the station.

    Attributes:
        id: The rule's own, with the part's name where there may be several.
        entry: What it says.
        box: The second box that it is for, if it is for one.
    """

    id: str
    entry: RuleEntry
    box: FarEndTable | None = None


def copies_of(
    rule_id: str, entry: RuleEntry, fitted: Fitted, devices: tuple[Device, ...]
) -> tuple[RuleCopy, ...]:
    """Return a rule as often as this station has it."""
    stale = entry.fact_stale
    if stale is not None and stale.subject == EACH_FAR_END:
        boxes = fitted.station.far_end
        return tuple(RuleCopy(f"{rule_id}_{box.name}", entry, box) for box in boxes)
    if entry.subject == EACH_OUTPUT:
        names = [device.name for device in devices if device.output is not None]
        return tuple(_of_device(rule_id, entry, name) for name in names)
    if entry.subject == EACH_OTHER_DEVICE:
        names = [device.name for device in devices if _nobody_else_tells(device, fitted)]
        return tuple(_of_device(rule_id, entry, name) for name in names)
    fact = entry.fact if stale is None else stale.fact
    if fact in _OF_BROKER and fitted.station.broker is None:
        return ()
    return (RuleCopy(rule_id, entry),)


def _of_device(rule_id: str, entry: RuleEntry, name: str) -> RuleCopy:
    say = entry.say.replace(THE_NAME, name)
    return RuleCopy(f"{rule_id}_{name}", entry.model_copy(update={"subject": name, "say": say}))


def _nobody_else_tells(device: Device, fitted: Fitted) -> bool:
    """Say whether no rule asks for the device itself.

    Those of air sensor and oximeter speak within seconds, and only where it matters; the
    wearer's button has a rule for its wire; outputs have rules of their own.
    """
    if device.output is not None or device.contact == "answer":
        return False
    told_sooner = _OF_OXIMETER if fitted.air is None else {*_OF_OXIMETER, fitted.air.signal}
    return not told_sooner.intersection(device.signals)
