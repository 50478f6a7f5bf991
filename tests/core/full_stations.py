"""Two invented stations with every signal and every default rule, one per arrangement.

Rules of their own besides, for each condition that no default rule has.
"""

import tempfile
from functools import cache
from pathlib import Path

import msgspec

from linetender.core.instants import SECOND_NS
from linetender.core.plan import Arrangement, Condition, Drift, Heading, Plan, RulePlan, Side
from linetender.core.signals import DERIVED_SIGNALS, Signal
from linetender.core.stages import Priority, Stage
from linetender.settings.load import load_station
from linetender_drivers.registry import DeviceOptions as NoOptions
from linetender_drivers.registry import DriverSpec, Kind, find_spec

NORMAL_PA = 60.0
"""Pressure of both lines in normal use."""

_EVERYTHING = DriverSpec(
    kind=Kind.SENSOR,
    options=NoOptions,
    provides=lambda options: frozenset(signal.value for signal in Signal),
    open="nowhere:nothing",
    summary="gives whatever a test wants",
)

_ELEMENTS = {
    Arrangement.FAN_SIDE: """\
[element]
kind = "fitted"
k = 50
n = 0.5
standard_uncertainty_percent = 4
normal_pa = 60
""",
    Arrangement.WEARER_SIDE: """\
[element]
kind = "hood_hose"
normal_pa = 60
""",
}
_AIR = {
    Arrangement.FAN_SIDE: Signal.DUCT_PRESSURE_PA,
    Arrangement.WEARER_SIDE: Signal.HOOD_PRESSURE_PA,
}

_REST = """\
[devices.answer]
driver = "gpio_button"
contact = "answer"
options = { chip = "simulated", no_gpio = 17, nc_gpio = 27 }
[devices.siren]
driver = "gpio_buzzer"
output = "buzzer"
options = { chip = "simulated", gpio = 22 }
[check_in]
every_min = 5
[[contacts]]
name = "housemate"
[[far_end]]
name = "bench"
role = "wearer"
[[far_end]]
name = "kitchen"
role = "attendant"
[broker]
host = "broker.home.arpa"
port = 1883
"""


def air_signal(plan: Plan) -> Signal:
    """Return the pressure that air is derived from."""
    assert plan.air is not None
    return plan.air.signal


def _station_file(arrangement: Arrangement) -> str:
    other_air = _AIR.keys() - {arrangement}
    left_out = DERIVED_SIGNALS | {_AIR[other] for other in other_air}
    signals = [signal.value for signal in Signal if signal not in left_out]
    required = "required_airflow_l_min = 170" if arrangement is Arrangement.FAN_SIDE else ""
    contacts = "".join(
        f'[devices.{contact}]\ndriver = "gpio_contact"\ncontact = "{contact}"\n'
        f'options = {{ chip = "simulated", gpio = {gpio} }}\n'
        for contact, gpio in (("fan_mains", 5), ("hook", 6), ("co_alarm", 13))
    )
    return f"""\
schema = 1
[station]
id = "shed"
arrangement = "{arrangement.value}"
exit_time_s = 15
{required}
{_ELEMENTS[arrangement]}
[devices.everything]
driver = "everything"
signals = {signals}
{contacts}
{_REST}"""


SLOW: dict[str, Condition] = {
    "test_air_drifts": Drift(Signal.AIR_PERCENT_OF_BASELINE, 100.0, 4.0, 1.0, 100.0),
    "test_spo2_drifts": Drift(Signal.SPO2_PERCENT, 8.0, 0.5, 1.0, None, Side.BOTH),
    "test_air_heads_down": Heading(
        Signal.AIR_PERCENT_OF_BASELINE, 80.0, Side.DOWN, 30 * SECOND_NS, 12 * SECOND_NS, 0.2, 5.0
    ),
    "test_co_heads_up": Heading(
        Signal.INTAKE_CO_PPM, 10.0, Side.UP, 60 * SECOND_NS, 24 * SECOND_NS
    ),
}


def _slow_rules() -> tuple[RulePlan, ...]:
    stages = (Stage.PRE_USE, Stage.WORN)
    return tuple(
        RulePlan(id, condition, Priority.MEDIUM, 2 * SECOND_NS, 5 * SECOND_NS, stages)
        for id, condition in SLOW.items()  # noqa: A001
    )


def default_plan(arrangement: Arrangement) -> Plan:
    """Compile the full station of an arrangement with the default rules alone."""
    full = full_plan(arrangement)
    rules = tuple(rule for rule in full.rules if rule.id not in SLOW)
    return msgspec.structs.replace(full, rules=rules)


@cache
def full_plan(arrangement: Arrangement) -> Plan:
    """Compile the full station of an arrangement from its file and the default rules."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shed.toml"
        path.write_text(_station_file(arrangement), encoding="utf-8")
        made = load_station(
            path, lambda name: _EVERYTHING if name == "everything" else find_spec(name)
        ).plan
    return msgspec.structs.replace(made, rules=made.rules + _slow_rules())
