"""Every fault by name can be brought about and mended in a practice world."""

from collections.abc import Callable

import pytest

from linetender.cli.simulate_report import fault_lines, world_lines
from linetender.simulation.gated_time import Gate
from linetender.simulation.knobs import Knob
from linetender.simulation.named_faults import FAULTS
from linetender.simulation.script_hands import HOOK_GPIO, ScriptHands, ServedRig
from linetender.simulation.world import World
from linetender_drivers.simulated.machine import SIMULATED, SimulatedMachine
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual


def in_world(act: Callable[[ServedRig, ScriptHands], None]) -> None:
    """Do something in a world whose fan runs."""

    async def live() -> None:
        rig = ServedRig(World(seed=1), SimulatedMachine(VirtualClock()))
        hands = ScriptHands(rig, Gate(held=False))
        hands.turn("fan", 1.0, 0.0)
        await VirtualClock().sleep(30)
        act(rig, hands)

    run_virtual(live())


@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_comes_and_goes(name: str) -> None:
    def act(rig: ServedRig, hands: ScriptHands) -> None:
        before, bus = hands.look(), rig.machine.buses[SIMULATED]
        hands.fault(name, clear=False)
        broken = hands.look()
        turned = {knob.value: to for knob, to in FAULTS[name].knobs.items() if to}
        assert broken["faults"] == [name]
        assert broken["knobs"].items() >= turned.items()
        assert broken["knobs"] != before["knobs"] or bus.faults != []
        hands.fault("", clear=True)
        assert (hands.look(), bus.faults) == (before, [])

    in_world(act)


def test_two_faults_of_one_bus_are_mended_one_by_one() -> None:
    def act(rig: ServedRig, hands: ScriptHands) -> None:
        bus = rig.machine.buses[SIMULATED]
        for name in ("bus_stuck", "flipped_bits", "bus_stuck"):
            hands.fault(name, clear=False)
        assert len(bus.faults) == 2
        hands.fault("bus_stuck", clear=True)
        assert [fault.kind for fault in bus.faults] == [FAULTS["flipped_bits"].bus]

    in_world(act)


def test_the_hook_is_closed_while_the_hood_hangs_on_it() -> None:
    def act(rig: ServedRig, hands: ScriptHands) -> None:
        hook = rig.machine.simulated_pins.input(HOOK_GPIO, pull_up=True)
        levels = [hook.is_high()]
        for hood in (1.0, 0.0):
            hands.turn(Knob.HOOD.value, hood, 0.0)
            levels.append(hook.is_high())
        assert levels == [False, True, False]

    in_world(act)


def test_people_are_told_of_faults_and_of_the_world() -> None:
    assert [line.split()[0] for line in fault_lines()] == list(FAULTS)

    def act(rig: ServedRig, hands: ScriptHands) -> None:
        rig.machine.simulated_pins.output(22, safe_high=False)
        hands.fault("duct_pinched", clear=False)
        world = {"scenario": "practice", "stations": [{"name": "shed", "waiting": True}]}
        assert list(world_lines(world | hands.look()))[:6] == [
            "practice at 30.000 s",
            "station   shed: waits",
            "output    GPIO 22 is low",
            "fault     duct_pinched: the duct is pinched about half shut",
            "knob      fan at 1",
            "knob      crush at 0.65",
        ]

    in_world(act)
