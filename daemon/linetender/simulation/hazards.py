"""Hazards to be detected, each with what it turns and what it may rightly be called.

How strongly each happens is drawn by chance, from ranges that are chosen: strong enough
to matter to the wearer, weak enough to be among the harder ones to tell.
"""

from collections.abc import Callable
from dataclasses import dataclass
from random import Random

from linetender.core.cause import Cause
from linetender.core.plan import Arrangement
from linetender.simulation.knobs import Knob
from linetender.simulation.script import Turn

FAN, WEARER = Arrangement.FAN_SIDE, Arrangement.WEARER_SIDE
BOTH = (WEARER, FAN)

OF_THE_OXIMETER = frozenset(
    {Cause.OXIMETER_OFF_FINGER, Cause.OXIMETER_OUT_OF_RANGE, Cause.OXIMETER_WEAK_PULSE}
)
OF_A_SENSOR = OF_THE_OXIMETER | {Cause.SENSOR_FROZEN, Cause.SENSOR_SILENT, Cause.TAP_TUBE_OFF}

Draw = Callable[[Random], tuple[Turn, ...]]


@dataclass(frozen=True)
class Hazard:
    """Something that happens to a line or its wearer.

    Attributes:
        name: In a word.
        draw: What it turns at its onset, the strength drawn by chance.
        truth: Per arrangement in which it can be seen, the causes that name it rightly.
        never: Causes that would be dangerous to name.
        lasts_s: How long it is looked at (s).
        rules: The rules that are to tell it, any of them; empty for any.
    """

    name: str
    draw: Draw
    truth: dict[Arrangement, frozenset[Cause]]
    never: frozenset[Cause] = OF_A_SENSOR
    lasts_s: float = 40.0
    rules: tuple[str, ...] = ()


def _at_once(knob: Knob, to: float = 1.0) -> Draw:
    return lambda _: (Turn(knob, to),)


def _within(knob: Knob, low: float, high: float, shortest_s: float, longest_s: float) -> Draw:
    def draw(random: Random) -> tuple[Turn, ...]:
        return (Turn(knob, random.uniform(low, high), random.uniform(shortest_s, longest_s)),)

    return draw


def _is(cause: Cause, *others: Cause) -> dict[Arrangement, frozenset[Cause]]:
    return dict.fromkeys(BOTH, frozenset({cause, *others}))


def _mains(_: Random) -> tuple[Turn, ...]:
    return Turn(Knob.FAN_MAINS, 0.0), Turn(Knob.FAN, 0.0)


def _collapse(random: Random) -> tuple[Turn, ...]:
    """The fan stops, and the wearer loses the clip as they fall or pull it off."""
    return Turn(Knob.FAN, 0.0), Turn(Knob.FINGER_OUT, 1.0, 2.0 * random.uniform(2.0, 12.0))


def _bad_breath(random: Random) -> tuple[Turn, ...]:
    if random.random() < 0.5:
        return (Turn(Knob.VENTILATION, random.uniform(0.28, 0.36)),)
    return (Turn(Knob.INTAKE_O2_PERCENT, random.uniform(9.0, 11.5)),)


_OFF_AT_THE_END = {
    WEARER: frozenset({Cause.DUCT_OR_TAP_TUBE_OFF, Cause.DUCT_OFF_UPSTREAM}),
    FAN: frozenset({Cause.DUCT_OFF_DOWNSTREAM}),
}
_SLOW = (Cause.FILTER_OR_FAN_SLOW,)
_AIR = ("air_lost", "air_falling", "air_jump", "hood_pressure_high", "fan_mains_lost")

HAZARDS: tuple[Hazard, ...] = (
    Hazard("fan stopped", _at_once(Knob.FAN, 0.0), _is(Cause.FAN_STOPPED)),
    Hazard("mains lost", _mains, {FAN: frozenset({Cause.MAINS_LOST})}),
    Hazard("duct crushed", _within(Knob.CRUSH, 0.72, 0.98, 0.1, 0.5), _is(Cause.LINE_BLOCKED)),
    Hazard(
        "hose kinked",
        _within(Knob.KINK, 0.72, 0.95, 0.1, 0.5),
        {WEARER: frozenset({Cause.HOSE_KINKED}), FAN: frozenset({Cause.LINE_BLOCKED})},
    ),
    Hazard("duct off at fan", _at_once(Knob.DUCT_OFF_AT_FAN), _OFF_AT_THE_END),
    Hazard("duct off at hood", _at_once(Knob.DUCT_OFF_AT_HOOD), _OFF_AT_THE_END),
    Hazard(
        "filter soaked",
        _within(Knob.FILTER, 4.5, 7.0, 30.0, 90.0),
        _is(Cause.FILTER_LOADED, *_SLOW),
        lasts_s=150.0,
    ),
    Hazard(
        "filter loading",
        _within(Knob.FILTER, 3.0, 4.0, 240.0, 600.0),
        _is(Cause.FILTER_LOADED, *_SLOW),
        lasts_s=660.0,
    ),
    Hazard(
        "brown-out",
        _within(Knob.FAN, 0.45, 0.6, 30.0, 120.0),
        _is(Cause.FAN_SLOW, *_SLOW),
        lasts_s=150.0,
    ),
    Hazard(
        "tap tube off",
        _at_once(Knob.TAP_OPEN, 0.0),
        {
            WEARER: frozenset({Cause.TAP_TUBE_OFF, Cause.DUCT_OR_TAP_TUBE_OFF}),
            FAN: frozenset({Cause.TAP_TUBE_OFF, Cause.SHUT_OR_TAP_TUBE_OFF}),
        },
        OF_THE_OXIMETER,
    ),
    Hazard(
        "sensor frozen",
        _at_once(Knob.SENSOR_FROZEN),
        _is(Cause.SENSOR_FROZEN),
        OF_THE_OXIMETER,
        rules=("air_stuck",),
    ),
    Hazard(
        "sensor unplugged",
        _at_once(Knob.SENSOR_UNPLUGGED),
        _is(Cause.SENSOR_SILENT),
        OF_THE_OXIMETER,
    ),
    Hazard(
        "oximeter off",
        _at_once(Knob.FINGER_OUT),
        _is(Cause.OXIMETER_OFF_FINGER),
        frozenset(),
    ),
    Hazard(
        "oximeter gone",
        _at_once(Knob.DISTANCE_M, 30.0),
        _is(Cause.OXIMETER_OUT_OF_RANGE),
        frozenset(),
    ),
    Hazard(
        "cold finger",
        _at_once(Knob.COLD, 0.7),
        _is(Cause.OXIMETER_WEAK_PULSE),
        frozenset(),
    ),
    Hazard(
        "wearer unwell",
        _bad_breath,
        _is(Cause.WEARER_DETERIORATING),
        lasts_s=260.0,
        rules=("spo2_very_low", "spo2_low", "spo2_falling"),
    ),
    Hazard(
        "collapse without air",
        _collapse,
        _is(Cause.FAN_STOPPED),
        lasts_s=80.0,
    ),
)
