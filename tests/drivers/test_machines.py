"""The real and the simulated machine: what they hand out, and what each refuses."""

import subprocess
import sys

import pytest

from linetender_drivers.buses.ble import BleLink
from linetender_drivers.buses.i2c import RealI2cBus
from linetender_drivers.buses.machine import RealMachine
from linetender_drivers.contracts import Machine
from linetender_drivers.errors import DeviceNotFound, DriverConfigError
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.plx_peer import SimulatedPeerLink, SimulatedPlxPeer
from linetender_drivers.simulated.virtual_time import VirtualClock


@pytest.fixture
def simulated() -> SimulatedMachine:
    return SimulatedMachine(VirtualClock())


@pytest.fixture
def real() -> RealMachine:
    return RealMachine(VirtualClock())


def test_the_simulated_machine_hands_out_what_it_has(simulated: SimulatedMachine) -> None:
    simulated.peers["simulated"] = SimulatedPlxPeer(simulated.clock)
    assert simulated.i2c("simulated") is simulated.buses["simulated"]
    assert simulated.pins("simulated") is simulated.simulated_pins
    assert isinstance(simulated.notifications("simulated", "", ""), SimulatedPeerLink)


def test_the_simulated_machine_refuses_real_devices(simulated: SimulatedMachine) -> None:
    with pytest.raises(DriverConfigError, match='bus = "simulated"'):
        simulated.i2c("/dev/i2c-1")
    with pytest.raises(DriverConfigError, match='chip = "simulated"'):
        simulated.pins("gpio")
    with pytest.raises(DriverConfigError, match='address = "simulated"'):
        simulated.notifications("00:00:00:00:00:01", "", "")
    with pytest.raises(DeviceNotFound, match="nothing in this simulation"):
        simulated.notifications("simulated", "", "")


def test_the_real_machine_has_each_bus_once_and_closes_it(real: RealMachine) -> None:
    bus = real.i2c("/dev/i2c-1")
    assert isinstance(bus, RealI2cBus)
    assert real.i2c("/dev/i2c-1") is bus
    assert real.i2c("/dev/i2c-2") is not bus
    real.close()
    assert real.i2c("/dev/i2c-1") is not bus


def test_the_real_machine_refuses_simulated_devices(real: RealMachine) -> None:
    for refused in (
        lambda: real.i2c("simulated"),
        lambda: real.pins("simulated"),
        lambda: real.notifications("simulated", "", ""),
    ):
        with pytest.raises(DriverConfigError, match="this is the real machine"):
            refused()


def test_the_real_machine_hands_out_radio_links_without_touching_the_radio(
    real: RealMachine,
) -> None:
    assert isinstance(real.notifications("00:00:00:00:00:01", "", ""), BleLink)
    assert isinstance(real.notifications("only", "", ""), BleLink)


def test_both_are_machines(simulated: SimulatedMachine, real: RealMachine) -> None:
    machines: tuple[Machine, ...] = (simulated, real)  # for the type checker
    assert all(isinstance(machine.clock, VirtualClock) for machine in machines)


def test_the_real_machine_and_the_spec_load_no_hardware_library() -> None:
    program = (
        "import sys; import linetender_drivers.buses.machine; "
        "import linetender_drivers.pressure.sdp8xx_spec; "
        "sys.exit(len({'smbus2', 'gpiozero', 'lgpio', 'bleak'} & set(sys.modules)))"
    )
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0
