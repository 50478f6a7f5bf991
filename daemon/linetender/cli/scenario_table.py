"""All scenarios as a table: hazard, what must sound, what did, and how long it took."""

import os
import sys
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from typing import Any

import msgspec
import typer
from rich import box
from rich.console import Console
from rich.progress import track
from rich.table import Table
from rich.text import Text

from linetender.cli.plain_output import is_plain
from linetender.cli.scenario_play import Play, scenario_named, scenario_names
from linetender.core.stages import Priority
from linetender.simulation.scenario import Scenario
from linetender.simulation.truth import Verdict

WORDS = {Priority.HIGH: "LEAVE", Priority.MEDIUM: "LOOK", Priority.LOW: "LOOK (low)"}


def list_scenarios(*, as_json: bool) -> None:
    """Print name and title of each scenario."""
    scenarios = [scenario_named(name) for name in scenario_names()]
    if as_json:
        for each in scenarios:
            typer.echo(msgspec.json.encode({"scenario": each.name, "title": each.title}))
        return
    width = max(len(each.name) for each in scenarios)
    for each in scenarios:
        typer.echo(f"{each.name:{width}}  {each.title}")


def play_all(seed: int, *, as_json: bool) -> bool:
    """Play every scenario without waiting, and print how each compares with its truth.

    They are shared out among the machine's cores; what comes out is the same with one.

    Returns:
        Whether every one was as it must be.
    """
    names = scenario_names()
    errors = Console(file=sys.stderr)
    draws = errors.is_terminal and not is_plain()
    verdicts = []
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        played = pool.map(partial(_played, seed), names)
        shown = track(played, "Playing", len(names), console=errors, disable=not draws)
        for verdict in shown:
            verdicts.append(verdict)
            if as_json:
                typer.echo(msgspec.json.encode(as_dict(verdict)))
    good = sum(not verdict.faults for verdict in verdicts)
    if not as_json:
        if is_plain():
            typer.echo("\n".join(_sentence(verdict) for verdict in verdicts))
        else:
            Console().print(_table(verdicts))
        typer.echo(f"{good} of {len(verdicts)} scenarios are as they must be.")
    return good == len(verdicts)


def _played(seed: int, name: str) -> Verdict:
    return Play(scenario_named(name), seed).run()


def as_dict(verdict: Verdict) -> dict[str, Any]:
    """Return a verdict for programs."""
    scenario = verdict.scenario
    return {
        "scenario": scenario.name,
        "hazard": scenario.hazard,
        "hazard_s": scenario.hazard_s,
        "unseen": scenario.unseen,
        "expected": [
            {"rule": each.rule, "priority": each.priority, "from_s": each.from_s, "by_s": each.by_s}
            for each in scenario.expected
        ],
        "told": [
            {"rule": each.rule, "priority": each.priority, "at_s": each.at_s}
            for each in verdict.told
        ],
        "delay_s": verdict.delay_s,
        "faults": verdict.faults,
    }


def _table(verdicts: list[Verdict]) -> Table:
    """Return a table for 80 columns, in which no name is broken."""
    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False)
    table.add_column("", no_wrap=True)
    table.add_column("Scenario\nand its hazard", ratio=5)
    table.add_column("What sounded\nand what had to", ratio=7)
    table.add_column("Delay,\ns", justify="right", no_wrap=True)
    for verdict in verdicts:
        got = "\n".join(_got(verdict)) or "nothing"
        table.add_row(
            "NO" if verdict.faults else "ok",
            _cell(verdict.scenario.name, f"\n{_hazard(verdict.scenario)}"),
            _cell(got, _had_to(verdict)),
            "" if verdict.delay_s is None else f"{verdict.delay_s:.1f}",
        )
    return table


def _cell(first: str, then: str) -> Text:
    """Return what is told first, and what explains it."""
    return Text(first, overflow="fold").append(then, style="dim")


def _had_to(verdict: Verdict) -> str:
    lines = [f"had to: {each}" for each in _expected(verdict.scenario)]
    lines += [f"not as it must be: {fault}" for fault in verdict.faults]
    return "".join(f"\n{line}" for line in lines)


def _got(verdict: Verdict) -> list[str]:
    return [f"{WORDS[each.priority]} {each.rule} {each.at_s:.1f} s" for each in verdict.told]


def _sentence(verdict: Verdict) -> str:
    judged = f"NOT as it must be ({'; '.join(verdict.faults)})" if verdict.faults else "ok"
    return (
        f"{verdict.scenario.name}, {judged}. "
        f"Expected: {', '.join(_expected(verdict.scenario))}. "
        f"Got: {', '.join(_got(verdict)) or 'nothing'}."
    )


def _hazard(scenario: Scenario) -> str:
    return "no hazard" if scenario.hazard is None else f"{scenario.hazard}, {scenario.hazard_s:g} s"


def _expected(scenario: Scenario) -> list[str]:
    if scenario.unseen is not None:
        return [f"nothing: {scenario.unseen}"]
    lines = [f"{WORDS[each.priority]} {each.rule} by {each.by_s:g} s" for each in scenario.expected]
    return lines or ["nothing"]
