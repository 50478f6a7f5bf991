"""Wires a world to the simulated chips, pins and oximeter that real drivers talk to."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import NamedTuple

from linetender.simulation.knobs import START, Knob
from linetender.simulation.slow_sensor import SlowSensor
from linetender.simulation.turbulence import Turbulence
from linetender.simulation.world import World
from linetender_drivers.oximeter.plx_decode import SensorStatus
from linetender_drivers.simulated.ads1115_chip import Ads1115Chip
from linetender_drivers.simulated.i2c_bus import BusFault, FaultKind, SimulatedI2cBus
from linetender_drivers.simulated.ina2xx_chip import Ina2xxChip
from linetender_drivers.simulated.machine import SIMULATED, SimulatedMachine
from linetender_drivers.simulated.plx_peer import PeerState, SimulatedPlxPeer
from linetender_drivers.simulated.scd30_chip import Scd30Chip
from linetender_drivers.simulated.sdp8xx_chip import Sdp8xxChip
from linetender_drivers.simulated.tachometer import turn

AIR_SENSOR_ADDRESS = 0x25
AIR_SENSOR_PRODUCT = "SDP810-500Pa"
SUPPLY_SENSOR_ADDRESS = 0x40
CO2_SENSOR_ADDRESS = 0x61
CO_CELL_ADDRESS = 0x48

CO2_SENSOR_TAU_S = 20.0
"""Response time of an SCD30 (its data sheet: τ63 of 20 s; from memory)."""
CO_CELL_TAU_S = 13.0
"""A cell that shows 90 % after 30 s, as electrochemical ones do (common practice)."""
CO_CELL_REFERENCE_V = 1.65
CO_CELL_V_PER_PPM = 4e-9 * 100_000.0
"""Invented: a cell of 4 nA/ppm on an amplifier of 100 kΩ."""

SOUNDER_GPIO = 22
"""Where all of the scenarios' stations have their buzzer."""

FAN_MAINS_GPIO, CO_ALARM_GPIO = 19, 26
"""Relays between a line and ground, as the scenarios' stations wire them."""

TACHOMETER_GPIO = 20
FULL_SPEED_RPM = 2800.0
"""Turns of the fan per minute at full speed (invented)."""

SENSOR_NOISE_PA = 0.05
"""Standard deviation of a thermal pressure sensor's own noise (chosen)."""

RADIO_RANGE_M = 12.0
RADIO_SURE_M = 8.0
"""Within the shorter distance every packet arrives; beyond the longer the link drops (chosen)."""

LOW_PERFUSION_FROM, NO_PULSE_FROM, SHAKEN_FROM = 0.5, 0.9, 0.5
"""From here on an oximeter says so (chosen)."""


class ButtonWiring(NamedTuple):
    """A button whose common wire lies at ground.

    Attributes:
        no_gpio: Line that closes when it is pressed.
        nc_gpio: Line that opens when it is pressed; None on a button with two wires.
    """

    no_gpio: int
    nc_gpio: int | None = None


DEMO_BUTTONS: Mapping[str, ButtonWiring] = MappingProxyType({"answer": ButtonWiring(17, 27)})
"""Buttons of the demo station by their role."""


class Rig:
    """A simulated machine in a world, with hands for its buttons.

    Making one attaches sensors and oximeter, lets all buttons go and sets the relays.

    Args:
        world: What is true.
        machine: What the drivers are opened on.
        buttons: The station's buttons by role.
        seed: Another seed, another noise of the sensors.

    Attributes:
        world: As given.
        machine: As given.
        air_sensor: The chip across the flow element.
        oximeter: The radio peer on the wearer's finger.
    """

    def __init__(
        self,
        world: World,
        machine: SimulatedMachine,
        buttons: Mapping[str, ButtonWiring] = DEMO_BUTTONS,
        seed: int = 1,
    ) -> None:
        self.world = world
        self.machine = machine
        self._noise = Turbulence(seed, channel=5, finest_ns=20_000_000, octaves=1)
        self._luck = Turbulence(seed, channel=6, finest_ns=1_000_000_000, octaves=1)
        self.air_sensor = self._make_air_sensor()
        self.oximeter = self._make_oximeter()
        self._buttons = buttons
        self._followed = {knob: START[knob] for knob in _FOLLOWED}
        self._attach(machine.buses[SIMULATED])
        machine.peers[SIMULATED] = self.oximeter
        for contact in buttons:
            self.release(contact)
        self._relay(FAN_MAINS_GPIO, closed=True)

    @property
    def contacts(self) -> frozenset[str]:
        """Roles of the buttons that a hand can reach."""
        return frozenset(self._buttons)

    def press(self, contact: str) -> None:
        """Hold a button down; it breaks before it makes."""
        wiring = self._buttons[contact]
        if wiring.nc_gpio is not None:
            self.machine.simulated_pins.release(wiring.nc_gpio)
        self.machine.simulated_pins.press(wiring.no_gpio)

    def release(self, contact: str) -> None:
        """Let a button go; it breaks before it makes."""
        wiring = self._buttons[contact]
        self.machine.simulated_pins.release(wiring.no_gpio)
        if wiring.nc_gpio is not None:
            self.machine.simulated_pins.press(wiring.nc_gpio)

    async def turn_tachometer(self) -> None:
        """Pulse the tachometer's line as the fan turns, for ever; costly, so only where wired."""
        pins, clock = self.machine.simulated_pins, self.machine.clock
        await turn(
            pins, clock, TACHOMETER_GPIO, lambda at_ns: FULL_SPEED_RPM * self.world.fan_speed(at_ns)
        )

    def keep_up(self) -> None:
        """Let relays, wires, bus and radio follow the knobs that they hang on.

        What somebody else set on bus, pins or peer stays until such a knob moves.
        """
        now_ns = self.machine.clock.now_ns()
        for knob, before in self._followed.items():
            value = self.world.value(knob, now_ns)
            if value != before:
                self._followed[knob] = value
                self._follow(knob, value)

    def _attach(self, bus: SimulatedI2cBus) -> None:
        world, now_ns = self.world, self.machine.clock.now_ns

        # These chips are read for what they converted a little before. The world does not
        # go back: they see it as it is now.
        bus.attach(AIR_SENSOR_ADDRESS, self.air_sensor)
        supply = Ina2xxChip()
        supply.supply_v = lambda _: world.value(Knob.SUPPLY_V, now_ns())
        supply.current_a = lambda _: 0.8 * world.fan_speed(now_ns())
        bus.attach(SUPPLY_SENSOR_ADDRESS, supply)
        hood = SlowSensor(lambda at_ns: 1e6 * world.hood_co2_fraction(at_ns), CO2_SENSOR_TAU_S)
        co2 = Scd30Chip()
        co2.co2_ppm = lambda _: hood.value(now_ns())
        bus.attach(CO2_SENSOR_ADDRESS, co2)
        cell = SlowSensor(lambda at_ns: world.value(Knob.EXHAUST_CO_PPM, at_ns), CO_CELL_TAU_S)
        converter = Ads1115Chip()
        converter.inputs_v[0] = lambda _: (
            CO_CELL_REFERENCE_V + CO_CELL_V_PER_PPM * cell.value(now_ns())
        )
        converter.inputs_v[1] = lambda _: CO_CELL_REFERENCE_V
        bus.attach(CO_CELL_ADDRESS, converter)

    def _follow(self, knob: Knob, value: float) -> None:
        is_on = value >= 0.5
        match knob:
            case Knob.FAN_MAINS:
                self._relay(FAN_MAINS_GPIO, closed=is_on)
            case Knob.CO_ALARM:
                self._relay(CO_ALARM_GPIO, closed=is_on)
            case Knob.SENSOR_FROZEN:
                self._bus_fault(FaultKind.FROZEN, AIR_SENSOR_ADDRESS, present=is_on)
            case Knob.SENSOR_UNPLUGGED:
                self._bus_fault(FaultKind.NACK, AIR_SENSOR_ADDRESS, present=is_on)
            case Knob.GAS_SENSORS_UNPLUGGED:
                for address in (CO2_SENSOR_ADDRESS, CO_CELL_ADDRESS):
                    self._bus_fault(FaultKind.NACK, address, present=is_on)
            case Knob.WIRE_CUT:
                self._cut(is_on)
            case Knob.OXIMETER_BATTERY_PERCENT:
                self.oximeter.battery_percent = round(value)
            case _:
                self._place_oximeter()

    def _relay(self, gpio: int, *, closed: bool) -> None:
        pins = self.machine.simulated_pins
        (pins.press if closed else pins.release)(gpio)

    def _bus_fault(self, kind: FaultKind, address: int, *, present: bool) -> None:
        faults = self.machine.buses[SIMULATED].faults
        fault = BusFault(kind, address)
        if present:
            faults.append(fault)
        elif fault in faults:
            faults.remove(fault)

    def _cut(self, is_cut: bool) -> None:
        for contact, wiring in self._buttons.items():
            self.release(contact)
            if is_cut and wiring.nc_gpio is not None:
                self.machine.simulated_pins.release(wiring.nc_gpio)

    def _place_oximeter(self) -> None:
        now_ns = self.machine.clock.now_ns()

        def value(knob: Knob) -> float:
            return self.world.value(knob, now_ns)

        peer = self.oximeter
        if value(Knob.DISTANCE_M) > RADIO_RANGE_M:
            peer.state = PeerState.OUT_OF_RANGE
        else:
            out = value(Knob.FINGER_OUT) >= 0.5
            peer.state = PeerState.FINGER_OUT if out else PeerState.WORN
        status = SensorStatus(0)
        if value(Knob.COLD) >= NO_PULSE_FROM:
            status |= SensorStatus.NONPULSATILE_SIGNAL
        if value(Knob.COLD) >= LOW_PERFUSION_FROM:
            status |= SensorStatus.LOW_PERFUSION
        if value(Knob.MOTION) >= SHAKEN_FROM:
            status |= SensorStatus.ERRATIC_SIGNAL
        peer.sensor_status = int(status)

    def _make_air_sensor(self) -> Sdp8xxChip:
        world = self.world

        def seen_pa(now_ns: int) -> float:
            true_pa = world.element_pressure_pa(now_ns) * world.value(Knob.TAP_OPEN, now_ns)
            noise_pa = SENSOR_NOISE_PA * self._noise.value(now_ns)
            return true_pa + world.value(Knob.ZERO_PA, now_ns) + noise_pa

        chip = Sdp8xxChip(AIR_SENSOR_PRODUCT)
        chip.pressure_pa = seen_pa
        chip.temperature_c = lambda _: world.figures.ambient_temperature_c
        chip.ambient_pressure_pa = lambda _: world.figures.ambient_pressure_pa
        return chip

    def _make_oximeter(self) -> SimulatedPlxPeer:
        world, clock = self.world, self.machine.clock
        peer = SimulatedPlxPeer(clock)
        peer.spo2_percent = lambda: world.spo2_percent(clock.now_ns())
        peer.pulse_rate_bpm = lambda: world.pulse_rate_bpm(clock.now_ns())
        peer.pulse_amplitude_index_percent = lambda: world.amplitude_index_percent(clock.now_ns())
        peer.is_heard = self._is_heard
        return peer

    def _is_heard(self) -> bool:
        """Whether a packet arrives; between the two distances more and more are lost."""
        now_ns = self.machine.clock.now_ns()
        metres = self.world.value(Knob.DISTANCE_M, now_ns)
        lost = (metres - RADIO_SURE_M) / (RADIO_RANGE_M - RADIO_SURE_M)
        # The lattice noise is near normal: within ±1.7 of it lie nine draws of ten.
        return lost <= 0.0 or self._luck.value(now_ns) / 3.4 + 0.5 > lost


_FOLLOWED = (
    Knob.FAN_MAINS,
    Knob.CO_ALARM,
    Knob.SENSOR_FROZEN,
    Knob.SENSOR_UNPLUGGED,
    Knob.GAS_SENSORS_UNPLUGGED,
    Knob.WIRE_CUT,
    Knob.OXIMETER_BATTERY_PERCENT,
    Knob.DISTANCE_M,
    Knob.FINGER_OUT,
    Knob.COLD,
    Knob.MOTION,
)
"""Knobs that relays, wires, bus and radio hang on."""
