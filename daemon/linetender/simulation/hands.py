"""The hands of a scenario: play its script on the world, the buttons and the station."""

from collections.abc import Callable
from typing import assert_never

from linetender.simulation.devices import Rig
from linetender.simulation.script import (
    NS_PER_S,
    Action,
    Button,
    Crush,
    End,
    Order,
    Script,
    WorldChange,
)
from linetender.simulation.world import World


async def play(script: Script, rig: Rig, give: Callable[[Order], None]) -> None:
    """Do each step at its instant, and return at the script's end.

    Args:
        script: What happens.
        rig: World, machine and buttons; its clock's 0 is the script's beginning.
        give: Called with each order for the station; must not wait.

    Raises:
        ValueError: The script presses a button that the rig does not have. Nothing
            was done yet.
    """
    _check_buttons(script, rig)
    clock = rig.machine.clock
    for step in script.steps:
        while (left_ns := step.at_ns - clock.now_ns()) > 0:
            await clock.sleep(left_ns / NS_PER_S)
        _do(step.action, rig, give)


def _do(action: Action, rig: Rig, give: Callable[[Order], None]) -> None:
    now_ns = rig.machine.clock.now_ns()
    match action:
        case WorldChange():
            _change_world(action, rig.world, now_ns)
        case Crush(fraction):
            rig.world.crush(now_ns, fraction)
        case Button(contact, pressed):
            (rig.press if pressed else rig.release)(contact)
        case Order():
            give(action)
        case End():
            pass
        case _:
            assert_never(action)


def _change_world(change: WorldChange, world: World, now_ns: int) -> None:
    match change:
        case WorldChange.FAN_START:
            world.fan_start(now_ns)
        case WorldChange.FAN_STOP:
            world.fan_stop(now_ns)
        case WorldChange.HOOD_ON:
            world.hood_on(now_ns)
        case WorldChange.HOOD_OFF:
            world.hood_off(now_ns)
        case _:
            assert_never(change)


def _check_buttons(script: Script, rig: Rig) -> None:
    for step in script.steps:
        action = step.action
        if isinstance(action, Button) and action.contact not in rig.contacts:
            known = ", ".join(sorted(rig.contacts)) or "none"
            raise ValueError(
                f"step at {step.at_ns / NS_PER_S} s presses {action.contact!r}; "
                f"buttons of this station: {known}"
            )
