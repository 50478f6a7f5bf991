"""The hands of a scenario: play its script on the world, the devices and the station."""

from collections.abc import Callable
from typing import assert_never

from linetender.simulation.devices import SOUNDER_GPIO, Rig
from linetender.simulation.knobs import NS_PER_S
from linetender.simulation.script import Action, Button, End, Order, PowerCut, Script, Tap, Turn

KEEP_UP_NS = NS_PER_S // 2
"""Devices whose state follows a knob that moves slowly are looked at so often."""

SILENCE_NS = 5 * NS_PER_S
"""What begins after so long a silence is taken for a new sound (chosen)."""

REACTION_NS = 2 * NS_PER_S
"""So long it takes a person in a hood to do what a sound asks for (chosen)."""


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
    for step in script.steps:
        await _until(step.at_ns, rig)
        if step.when_heard:
            await _heard(rig, script.end_ns)
        await _do(step.action, rig, give, cut_power)


async def _do(
    action: Action,
    rig: Rig,
    give: Callable[[Order], None],
    cut_power: Callable[[float], None] | None,
) -> None:
    clock = rig.machine.clock
    match action:
        case Turn(knob, to, over_s):
            rig.world.turn(clock.now_ns(), knob, to, over_s)
            rig.keep_up()
        case Button(contact, pressed):
            (rig.press if pressed else rig.release)(contact)
        case Tap(contact, held_s):
            rig.press(contact)
            await clock.sleep(held_s)
            rig.release(contact)
        case Order():
            give(action)
        case PowerCut(for_s):
            if cut_power is not None:
                cut_power(for_s)
        case End():
            pass
        case _:
            assert_never(action)


async def _until(at_ns: int, rig: Rig) -> None:
    clock = rig.machine.clock
    while (left_ns := at_ns - clock.now_ns()) > 0:
        await clock.sleep(min(left_ns, KEEP_UP_NS) / NS_PER_S)
        rig.keep_up()


async def _heard(rig: Rig, end_ns: int) -> None:
    """Wait until the sounder begins, and the person's reaction after it; the end at most."""
    clock, edges = rig.machine.clock, rig.machine.simulated_pins.edges
    began_ns = silent_ns = clock.now_ns()
    told = len(edges)
    while clock.now_ns() < end_ns:
        await _until(clock.now_ns() + KEEP_UP_NS, rig)
        for edge in edges[told:]:
            if edge.gpio != SOUNDER_GPIO:
                continue
            if edge.high and edge.at_ns >= max(began_ns, silent_ns + SILENCE_NS):
                return await _until(edge.at_ns + REACTION_NS, rig)
            silent_ns = edge.at_ns
        told = len(edges)


def _check(script: Script, rig: Rig, cut_power: Callable[[float], None] | None) -> None:
    for step in script.steps:
        action = step.action
        if isinstance(action, PowerCut) and cut_power is None:
            raise ValueError("this scenario cuts the box's power, which only `demo` can play")
        if isinstance(action, Button | Tap) and action.contact not in rig.contacts:
            known = ", ".join(sorted(rig.contacts)) or "none"
            raise ValueError(
                f"step at {step.at_ns / NS_PER_S} s presses {action.contact!r}; "
                f"buttons of this station: {known}"
            )
