"""Stations of the shipped examples and of two invented lines, brought into use with a flow."""

import tempfile
from functools import cache
from pathlib import Path

from core.watching import Bench
from linetender.core.inputs import ContactState, Verb
from linetender.core.plan import AirPlan, Plan
from linetender.core.signals import Signal
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped

RATE_HZ = 25
K_L_MIN, EXPONENT = 50.0, 0.5
"""The calibrated lines below: Q = 50·Δp^0.5, so 500 L/min at 100 Pa."""

_CALIBRATED = """\
schema = 1
[station]
id = "shed"
arrangement = "{arrangement}"
exit_time_s = 15
required_airflow_l_min = 170
[element]
kind = "fitted"
k = 50
n = 0.5
standard_uncertainty_percent = 4
normal_pa = {normal_pa}
[devices.air]
driver = "sdp8xx"
signals = ["duct_pressure_pa"]
options = {{ bus = "simulated", address = 0x25 }}
[devices.fan_mains]
driver = "gpio_contact"
contact = "fan_mains"
options = {{ chip = "simulated", gpio = 5 }}
[devices.answer]
driver = "gpio_button"
contact = "answer"
options = {{ chip = "simulated", no_gpio = 17, nc_gpio = 27 }}
[devices.siren]
driver = "gpio_buzzer"
output = "buzzer"
options = {{ chip = "simulated", gpio = 22 }}
[devices.lamp]
driver = "gpio_lamp"
output = "lamp_green"
options = {{ chip = "simulated", gpio = 23 }}
"""

EXAMPLES = (
    "demo.toml",
    "wearer_side_minimal.toml",
    "wearer_side_calibrated.toml",
    "fan_side_orifice.toml",
)


@cache
def calibrated(arrangement: str, normal_pa: int = 100) -> Plan:
    """Compile an invented calibrated line with the default rules and fan mains sensed."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shed.toml"
        path.write_text(
            _CALIBRATED.format(arrangement=arrangement, normal_pa=normal_pa), encoding="utf-8"
        )
        return load_station(path).plan


@cache
def example(name: str) -> Plan:
    """Compile a shipped example."""
    return load_station(shipped(f"config/{name}")).plan


class Line:
    """A bench whose air is given as a flow.

    Attributes:
        bench: The core.
        now_s: Where it is.
    """

    def __init__(self, plan: Plan) -> None:
        assert plan.air is not None
        self.air: AirPlan = plan.air
        self.bench = Bench(plan)
        self.now_s = 0.0
        self._samples = 0
        self._oximeter = Signal.SPO2_PERCENT in plan.signals

    def normal(self) -> float:
        """Return the normal flow of the line, in its own unit (L/min, or Pa^n)."""
        return float((self.air.k_l_min or 1.0) * self.air.normal_pa**self.air.exponent)

    def flow(self, flow: float, *, spo2_percent: float = 97.0) -> None:
        """Feed one sample of flow (unit of `normal`), and once a second the oximeter."""
        k = (self.air.k_l_min or 1.0) * self.air.pressure_factor**self.air.exponent
        # The dither of a live sensor: never the same word twice in a row.
        dither = 1.0 + 1e-6 * (self._samples % 2)
        pressure_pa = (max(flow, 0.0) / k) ** (1.0 / self.air.exponent) * dither
        self.bench.good(self.now_s, self.air.signal, pressure_pa)
        if self._oximeter and self._samples % RATE_HZ == 0:
            self.bench.good(self.now_s, Signal.SPO2_PERCENT, spo2_percent)
            self.bench.good(self.now_s, Signal.PULSE_RATE_BPM, 70.0)
        self._samples += 1
        self.now_s = self._samples / RATE_HZ

    def wear(self, flow: float, *, spo2_percent: float = 97.0) -> None:
        """Check before use at this flow, put the hood on, and let a while pass."""
        if "fan_mains" in self.bench.watch.plan.contacts:
            self.bench.contact(0.0, "fan_mains", ContactState.CLOSED)
        self.bench.command(0.0, Verb.PRE_USE)
        while self.now_s < 40.0:
            self.confirm()
            self.flow(flow, spo2_percent=spo2_percent)
        self.bench.command(self.now_s, Verb.START)
        while self.now_s < 60.0:
            self.confirm()
            self.flow(flow, spo2_percent=spo2_percent)

    def confirm(self) -> None:
        """Let every second box confirm, as they do while all is well."""
        for box in self.bench.watch.plan.far_ends:
            self.bench.fact(self.now_s, "far_end_confirmed", True, box.name)
