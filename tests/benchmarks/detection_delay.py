"""How soon each hazard is told with the default rules, in both arrangements.

    python tests/benchmarks/detection_delay.py [RUNS] [HOURS] [FIRST_SEED]
        [--targets | --curve FILE.svg]

Per hazard: seconds from its onset to the sound (LEAVE, or LOOK where LEAVE never comes),
and from the airflow's crossing of 65 % to LEAVE: median, 95th percentile, worst. Beside
it Lorden's bound at one false alarm in 1 000 h, and the alarm budget. Then false alarms in
HOURS of ordinary use, what a `drift` takes against the bound, and the curve of delay
against false alarms as limit and delay of `air_lost` vary. Prints; asserts nothing. 10 runs
and 5 hours without arguments. With `--targets` only the hazards with a target, and whether
it is met: 1000 runs of each on demand take some minutes. With `--curve` the curve alone,
drawn into a file.
"""

import sys
from pathlib import Path
from statistics import median, stdev

from linetender.airline.alarm_budget import REACTION_S, budget_s
from linetender.cli.scenario_play import station_of_scenario
from linetender.core.instants import MILLISECOND_NS, SECOND_NS
from linetender.core.plan import Plan
from linetender.reports.detection_plot import Choice, DetectionPlot, Panel, draw_detection
from linetender.simulation.detection import TARGETS, delays_of, in_words
from linetender.simulation.detection_curve import Point, bound_of, curve_of
from linetender.simulation.drift_delay import SHIFTS, drift_against_bound
from linetender.simulation.hazard_runs import figures_of
from linetender.simulation.hazards import HAZARDS
from linetender.simulation.lived_hours import live
from linetender.simulation.ordinary_use import ordinary_use
from linetender.simulation.world import World

SIDES = ("wearer_side", "fan_side")
REQUIRED_L_MIN, HOOD_L, CO2_L_MIN = 170.0, 8.0, 0.73
"""Of the alarm budget: the published minimum airflow, and the station file's own defaults."""
EXIT_S = 7.0
"""The way out of the examples."""
USUAL_SCATTER = 3.0
"""Where the bound is not printed, its scatter (%) does not matter."""


def scatter_of(plan: Plan, seed: int = 1) -> float:
    """Return the standard deviation of second's means of the air in an ordinary hour (%)."""
    assert plan.air is not None
    world, deeds = World(seed, figures_of(plan)), ordinary_use(seed, 60.0, 3500.0)
    world.fan_start(0)
    means: list[float] = []
    second: list[float] = []
    for now_ns in range(100 * MILLISECOND_NS, 1800 * SECOND_NS, 100 * MILLISECOND_NS):
        while deeds and deeds[0].at_ns <= now_ns:
            turn = deeds.pop(0).turn
            world.turn(now_ns, turn.knob, turn.to, turn.over_s)
        part = max(0.0, world.element_pressure_pa(now_ns)) / plan.air.normal_pa
        second.append(100.0 * part**plan.air.exponent)
        if len(second) == 10:
            means.append(sum(second) / 10.0)
            second = []
    return stdev(means[60:])


def show_delays(side: str, plan: Plan, runs: int, first: int) -> None:
    """Print a table of delays."""
    scatter = scatter_of(plan)
    print(f"{side}: air scatters by {scatter:.1f} % in ordinary use")
    print(
        f"  {'hazard':21} {'from onset':>20}   {'from 65 % to LEAVE':>20}   bound"
        "  LOOK only  silent"
    )
    for hazard in HAZARDS:
        if plan.arrangement not in hazard.truth:
            continue
        delays = delays_of(plan, hazard, range(first, first + runs), scatter)
        bound = f"{median(delays.bounds):6.2f}" if delays.bounds else f"{'-':>6}"
        print(
            f"  {hazard.name:21} {in_words(delays.from_onset)}   {in_words(delays.from_loss)}"
            f"  {bound}  {delays.looks:9}  {len(delays.missed):6}"
        )


def show_targets(side: str, plan: Plan, runs: int, first: int) -> None:
    """Print whether each target is met."""
    print(f"{side}: {runs} runs of each, seeds {first} to {first + runs - 1}")
    for hazard in HAZARDS:
        target = TARGETS.get(hazard.name)
        if target is None or plan.arrangement not in hazard.truth:
            continue
        seeds = range(first, first + runs)
        delays = delays_of(plan, hazard, seeds, USUAL_SCATTER, quick=True)
        late, usual_s = delays.late(target), delays.median_s(target)
        since = "onset" if target.is_from_onset else "65 %"
        verdict = "met" if not late and usual_s <= target.median_s else f"MISSED in {late}"
        values = delays.from_onset if target.is_from_onset else delays.from_loss
        print(
            f"  {hazard.name:17} from {since:5} {in_words(values)} s; target {target.median_s:g}, "
            f"at worst {target.worst_s:g} s: {verdict}; never under 65 %: {delays.unlost}",
            flush=True,
        )


def show_false(side: str, plan: Plan, hours: int, first: int) -> None:
    """Print what sounded in ordinary use."""
    lived = live(plan, figures_of(plan), hours, first)
    per_1000 = 1000.0 / hours
    print(
        f"{side}: {len(lived.leaves) * per_1000:.1f} false LEAVE and "
        f"{len(lived.looks) * per_1000:.1f} false LOOK in 1000 h, of {hours} h lived"
    )


def draw_curve(plans: dict[str, Plan], runs: int, hours: int, first: int, path: Path) -> None:
    """Draw delay against false alarms, with Lorden's bound and the alarm budget."""
    panels = []
    for side, plan in plans.items():
        points = curve_of(plan, runs, hours, first)
        show_curve(side, points)
        choices = tuple(
            Choice(point.limit, point.on_delay_s, point.median_s, point.false_per_1000_h)
            for point in points
        )
        bounds = bound_of(plan, min(runs, 20), scatter_of(plan), first)
        panels.append(Panel(side, choices, tuple(tuple(bound) for bound in bounds), hours))
    budget = budget_s(REQUIRED_L_MIN, HOOD_L, CO2_L_MIN)
    left = (budget - REACTION_S - EXIT_S, budget - REACTION_S)
    plot = DetectionPlot(
        "How soon the air's loss is told, and how often falsely",
        f"Simulated, seeds from {first}: fan stopped, duct crushed, {runs} runs each; {hours} h of "
        "use on each side. Marks: on-delays of 0, 1, 2, 4 s.",
        (panels[0], panels[1]),
        (65.0, 2.0),
        (
            (left[0], f"{REACTION_S:g} s to react and {EXIT_S:g} s to leave before 3 % CO2"),
            (left[1], f"{REACTION_S:g} s to react and open the hood"),
        ),
    )
    path.write_text(draw_detection(plot), encoding="utf-8")


def show_curve(side: str, points: tuple[Point, ...]) -> None:
    """Print delay against false alarms, the soonest first."""
    print(f"{side}: air_lost with other limits and delays (fan stopped, duct crushed)")
    for point in sorted(points, key=lambda point: (point.median_s, point.false_per_1000_h)):
        bar = "#" * round(min(40.0, 4.0 * point.median_s))
        print(
            f"  {point.limit:3.0f} %, {point.on_delay_s:3.1f} s: median {point.median_s:5.2f} s, "
            f"worst {point.worst_s:5.2f} s, {point.false_per_1000_h:8.0f} false in 1000 h  {bar}"
        )


def main() -> None:
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    runs, hours, first = (*numbers, *(10, 5, 1)[len(numbers) :])
    plans = {side: station_of_scenario(side).plan for side in SIDES}
    if "--targets" in sys.argv:
        for side, plan in plans.items():
            show_targets(side, plan, runs, first)
        return
    if "--curve" in sys.argv:
        draw_curve(plans, runs, hours, first, Path(sys.argv[sys.argv.index("--curve") + 1]))
        return
    print(f"alarm budget: {budget_s(REQUIRED_L_MIN, HOOD_L, CO2_L_MIN):.1f} s of good air")
    for side, plan in plans.items():
        show_delays(side, plan, runs, first)
    for side, plan in plans.items():
        show_false(side, plan, hours, first)
    print("drift, one false alarm in 30 days, one mean a second:")
    for shift in SHIFTS:
        delay_s, bound_s = drift_against_bound(shift, runs * 20)
        print(
            f"  shift of {shift} sigma: {delay_s:5.1f} s, Lorden's bound {bound_s:5.1f} s, "
            f"ratio {delay_s / bound_s:4.2f}"
        )
    for side, plan in plans.items():
        show_curve(side, curve_of(plan, runs, max(1, hours // 5), first))


if __name__ == "__main__":
    main()
