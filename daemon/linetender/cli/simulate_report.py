"""How a served world is told to people."""

from collections.abc import Iterator
from typing import Any

from linetender.simulation.named_faults import FAULTS


def fault_lines() -> Iterator[str]:
    """Yield the faults there are, a line each."""
    width = max(map(len, FAULTS))
    for name, fault in FAULTS.items():
        yield f"{name:{width}}  {fault.says}"


def world_lines(world: dict[str, Any]) -> Iterator[str]:
    """Yield how a world is, from its own words for scripts."""
    held = ", held" if world["held"] else ""
    yield f"{world['scenario']} at {world['now_s']:.3f} s{held}"
    for station in world["stations"]:
        yield f"station   {station['name']}: {'waits' if station['waiting'] else 'at work'}"
    for gpio, level in world["outputs"].items():
        yield f"output    GPIO {gpio} is {'high' if level else 'low'}"
    for name in world["faults"]:
        yield f"fault     {name}: {FAULTS[name].says}"
    for knob, value in world["knobs"].items():
        yield f"knob      {knob} at {value:g}"
    for name, value in world["truth"].items():
        yield f"truth     {name} = {value:g}"
