"""The hands of a scenario: play its script on the world, the devices and the station."""

from collections.abc import Callable
from typing import assert_never

from linetender.simulation.devices import Rig
from linetender.simulation.knobs import NS_PER_S
from linetender.simulation.script import Button, End, Order, PowerCut, Script, Turn

KEEP_UP_NS = NS_PER_S // 2
"""Devices whose state follows a knob that moves slowly are looked at so often."""


async def play(
    script: Script,
    rig: Rig,
    give: Callable[[Order], None],
    cut_power: Callable[[float], None] | None = None,
) -> None:
    """Do each step at its instant, and return at the script's end.

    Args:
        script: What happens.
        rig: World, machine and buttons; its clock's 0 is the script's beginning.
        give: Called with each order for the station; must not wait.
        cut_power: Called with the seconds for which the box loses its power.

    Raises:
        ValueError: The script presses a button that the rig does not have, or cuts the
            power and nobody can. Nothing was done yet.
    """
    _check(script, rig, cut_power)
    clock = rig.machine.clock
    for step in script.steps:
        while (left_ns := step.at_ns - clock.now_ns()) > 0:
            await clock.sleep(min(left_ns, KEEP_UP_NS) / NS_PER_S)
            rig.keep_up()
        match step.action:
            case Turn(knob, to, over_s):
                rig.world.turn(clock.now_ns(), knob, to, over_s)
                rig.keep_up()
            case Button(contact, pressed):
                (rig.press if pressed else rig.release)(contact)
            case Order():
                give(step.action)
            case PowerCut(for_s):
                if cut_power is not None:
                    cut_power(for_s)
            case End():
                pass
            case _:
                assert_never(step.action)


def _check(script: Script, rig: Rig, cut_power: Callable[[float], None] | None) -> None:
    for step in script.steps:
        action = step.action
        if isinstance(action, PowerCut) and cut_power is None:
            raise ValueError("this scenario cuts the box's power, which only `demo` can play")
        if isinstance(action, Button) and action.contact not in rig.contacts:
            known = ", ".join(sorted(rig.contacts)) or "none"
            raise ValueError(
                f"step at {step.at_ns / NS_PER_S} s presses {action.contact!r}; "
                f"buttons of this station: {known}"
            )
