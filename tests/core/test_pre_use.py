"""The steps of the pre-use check: what meets each, what ends it, and what an override leaves."""

import msgspec
import pytest

from core.full_stations import full_plan
from core.watching import NORMAL_PA, Bench, plan, rule
from linetender.core.events import Cue, StepChanged
from linetender.core.inputs import ContactState, Fact, Verb
from linetender.core.instants import SECOND_NS, from_seconds, to_seconds
from linetender.core.plan import AirPlan, Arrangement, Held, OnFact, Plan
from linetender.core.pre_use import CheckState
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage
from linetender.core.step_plan import STEP_CODES, StepKind, StepPlan

HOOD = Signal.HOOD_PRESSURE_PA
OPEN, CLOSED = ContactState.OPEN, ContactState.CLOSED


def station(*kinds: StepKind, limit_s: float = 100.0, **more: object) -> Plan:
    """Return a station with these steps only."""
    steps = tuple(
        StepPlan(kind.value, kind, from_seconds(limit_s), **more)  # type: ignore[arg-type]
        for kind in kinds
    )
    signals = (Signal.SUPPLY_VOLTAGE_V,)
    return plan(air=True, signals=signals, steps=steps)


def begun(*kinds: StepKind, **more: object) -> Bench:
    bench = Bench(station(*kinds, **more))
    bench.command(0.0, Verb.PRE_USE)
    return bench


def steps(bench: Bench) -> dict[str, str]:
    return {e.step: e.state.value for e in bench.said if isinstance(e, StepChanged)}


def note(bench: Bench, at_s: float, fact: str, active: bool, subject: str, why: str = "") -> None:
    bench.feed(Fact(from_seconds(at_s), fact, active, subject, why))


# What meets a step: (kind, what is done until second 5, whether that meets it)
def supply(volts: float) -> object:
    return lambda bench: bench.stream(0.0, 5.0, 1.0, supply_voltage_v=volts)


MEETS = [
    (StepKind.CHECKLIST, lambda bench: bench.press(1.0), True),
    (StepKind.LAMP, lambda bench: bench.press(1.0), True),
    (StepKind.CHECKLIST, lambda bench: None, False),
    (StepKind.SUPPLY, supply(4.9), True),
    (StepKind.SUPPLY, supply(4.8), False),
    (StepKind.ARMED, lambda bench: bench.contact(1.0, "arm", CLOSED), True),
    (StepKind.ARMED, lambda bench: bench.contact(1.0, "arm", OPEN), False),
    (StepKind.ARMED, lambda bench: bench.contact(1.0, "arm", ContactState.BROKEN), False),
    (StepKind.RECORDING, lambda b: note(b, 1.0, "pre_use_step", True, "recording"), True),
    (StepKind.RECORDING, lambda b: note(b, 1.0, "pre_use_step", False, "recording"), False),
    (StepKind.RECORDING, lambda b: note(b, 1.0, "pre_use_step", True, "disk"), False),
    (StepKind.BROKER, lambda b: note(b, 1.0, "delivery_confirmed", True, "broker"), True),
    (StepKind.BROKER, lambda b: note(b, 1.0, "delivery_confirmed", True, "other"), False),
    (StepKind.FAR_END, lambda b: note(b, 1.0, "far_end_confirmed", True, "bench"), True),
    (StepKind.FAR_END, lambda b: note(b, 1.0, "far_end_confirmed", True, "kitchen"), False),
]


@pytest.mark.parametrize(("kind", "do", "is_met"), MEETS)
def test_what_meets_a_step_and_that_the_rest_ends_the_check(
    kind: StepKind, do: object, is_met: bool
) -> None:
    subject = "bench" if kind is StepKind.FAR_END else ""
    bench = begun(kind, subject=subject, least=4.85)
    do(bench)  # type: ignore[operator]
    bench.advance(99.0)
    assert steps(bench)[kind.value] == ("met" if is_met else "waiting")
    bench.advance(100.0)
    if is_met:
        assert (bench.stage, steps(bench)["check"]) == (Stage.PRE_USE, "met")
        return
    assert (steps(bench)[kind.value], steps(bench)["check"]) == ("failed", "failed")
    assert (bench.stage, bench.demand.cue) == (Stage.IDLE, Cue.CODE)
    assert bench.demand.code == STEP_CODES[kind]
    assert bench.watch.snapshot().check.state is CheckState.REFUSED
    bench.advance(131.0)
    assert bench.demand.cue is Cue.NONE


# The zero: (pressures of the first 6 s, then the fan runs: state and why)
ZEROS = [
    ("fan off, reads next to nothing", [0.4] * 6, "met", ""),
    ("a breath of wind", [2.9] * 6, "met", ""),
    ("reads too much with the fan off", [6.0] * 6, "failed", "6.0 Pa with the fan off"),
    ("or too little", [-8.0] * 6, "failed", "8.0 Pa with the fan off"),
    ("the fan ran already", [NORMAL_PA] * 6, "skipped", "the fan ran already"),
]


@pytest.mark.parametrize(
    ("pressures", "state", "why"), [case[1:] for case in ZEROS], ids=[case[0] for case in ZEROS]
)
def test_the_zero_is_judged_while_the_fan_is_off(
    pressures: list[float], state: str, why: str
) -> None:
    bench = begun(StepKind.CHECKLIST, StepKind.ZERO)
    for second, pressure_pa in enumerate(pressures):
        bench.stream(second, second + 1, 0.2, hood_pressure_pa=pressure_pa)
    bench.stream(6.0, 40.0, 0.2, hood_pressure_pa=NORMAL_PA)
    (last,) = [e for e in bench.said if isinstance(e, StepChanged) and e.step == "zero"][1:]
    assert (last.state.value, last.why) == (state, why)


def test_two_minutes_of_good_air_purge_the_line() -> None:
    bench = begun(StepKind.AIR, StepKind.PURGE, limit_s=400)
    bench.stream(0.0, 60.0, 0.2, hood_pressure_pa=NORMAL_PA)
    bench.stream(60.0, 62.0, 0.2, hood_pressure_pa=30.0)  # the duct is stepped on
    bench.stream(62.0, 181.0, 0.2, hood_pressure_pa=NORMAL_PA)
    assert steps(bench) == {"air": "met", "purge": "waiting"}
    bench.stream(181.0, 185.0, 0.2, hood_pressure_pa=NORMAL_PA)
    assert (steps(bench)["purge"], steps(bench)["check"]) == ("met", "met")


def test_the_flow_must_exceed_the_minimum_by_twice_its_uncertainty() -> None:
    """k = 20, n = 0.5, u = 5 %: at 100 Pa 200 L/min, of which 180 are sure."""
    for required_l_min, is_met in ((179.0, True), (181.0, False)):
        air = AirPlan(HOOD, 100.0, 0.5, 1.0, 20.0, 0.05, required_l_min)
        made = msgspec.structs.replace(station(StepKind.AIR), air=air)
        bench = Bench(made)
        bench.command(0.0, Verb.PRE_USE)
        bench.stream(0.0, 60.0, 0.2, hood_pressure_pa=100.0)
        assert (steps(bench)["air"] == "met") is is_met


# The test sound: instants of presses after it began at 10 s; whether it counts.
@pytest.mark.parametrize(
    ("press_s", "is_met"), [(9.0, False), (10.5, True), (14.9, True), (15.1, False)]
)
def test_only_a_tap_within_5_s_of_the_sound_counts(press_s: float, is_met: bool) -> None:
    bench = begun(StepKind.HEARD)
    assert bench.watch.snapshot().check.awaits_sound
    if press_s < 10.0:
        bench.press(press_s)
    bench.fact(10.0, "heard_test", True)
    assert bench.demand.cue is Cue.TEST
    if press_s > 10.0:
        bench.press(press_s)
    assert (steps(bench)["heard"] == "met") is is_met
    bench.advance(16.0)
    assert bench.watch.snapshot().check.awaits_sound is not is_met


def test_the_sound_comes_only_once_everything_else_is_met() -> None:
    bench = begun(StepKind.CHECKLIST, StepKind.HEARD)
    bench.fact(1.0, "heard_test", True)
    assert bench.demand.cue is Cue.NONE
    bench.press(2.0)
    assert bench.demand.cue is Cue.HOOD


def test_an_alarm_goes_before_the_sound_and_its_answer_is_no_tap() -> None:
    made = plan(
        rule(OnFact("leak"), id="leak"),
        steps=(StepPlan("heard", StepKind.HEARD, 100 * SECOND_NS),),
    )
    bench = Bench(made)
    bench.command(0.0, Verb.PRE_USE)
    bench.fact(5.0, "heard_test", True)
    bench.fact(6.0, "leak", True)
    bench.press(7.0)
    assert (steps(bench)["heard"], bench.state("leak")) == ("waiting", "ACKNOWLEDGED")


def test_an_override_is_told_and_kept_through_the_use() -> None:
    bench = begun(StepKind.CHECKLIST, StepKind.DISK)
    assert bench.command(1.0, Verb.PRE_USE, step="disk") == (
        "an override needs a reason; every report shows it"
    )
    assert bench.command(1.0, Verb.PRE_USE, step="siren", reason="x") == (
        "there is no step 'siren'; this station has checklist, disk"
    )
    assert bench.command(2.0, Verb.PRE_USE, step="disk", reason="a short job") is None
    bench.press(3.0)
    bench.press(4.0)
    snapshot = bench.watch.snapshot()
    assert (snapshot.stage, snapshot.check.state) == (Stage.WORN, CheckState.PASSED)
    assert snapshot.check.overrides == (("disk", "a short job"),)
    (told,) = [e.why for e in bench.said if isinstance(e, StepChanged) and e.step == "disk"][1:]
    assert told == "overridden: a short job"
    bench.command(5.0, Verb.END)
    assert bench.watch.snapshot().check.overrides == ()


def test_after_a_refusal_an_override_begins_anew_without_the_step() -> None:
    bench = begun(StepKind.CHECKLIST, StepKind.DISK)
    bench.press(1.0)
    bench.advance(101.0)
    assert bench.stage is Stage.IDLE
    bench.command(102.0, Verb.PRE_USE, step="disk", reason="a short job")
    bench.press(103.0)
    assert bench.watch.snapshot().check.state is CheckState.READY


def test_oxygen_too_low_refuses_whatever_is_overridden() -> None:
    spo2 = StepPlan("spo2_percent", StepKind.BASELINE, 100 * SECOND_NS, "spo2_percent")
    bench = Bench(plan(steps=(StepPlan("checklist", StepKind.CHECKLIST, 300 * SECOND_NS), spo2)))
    bench.command(0.0, Verb.PRE_USE, step="spo2_percent", reason="I feel well")
    bench.stream(0.0, 40.0, 1.0, spo2_percent=90.0)
    assert bench.watch.snapshot().check.state is CheckState.REFUSED
    assert steps(bench)["spo2_percent"] == "failed"


# The hook: when the hood is lifted, and what that means.
def test_a_hood_lifted_before_the_card_is_worn_unchecked() -> None:
    bench = begun(StepKind.CHECKLIST, StepKind.HEARD)
    bench.contact(0.5, "hook", CLOSED)
    bench.contact(1.0, "hook", OPEN)
    assert (bench.stage, steps(bench)["check"]) == (Stage.WORN, "failed")
    assert bench.watch.snapshot().check.state is CheckState.REFUSED


@pytest.mark.parametrize("hears", [True, False])
def test_a_hood_lifted_for_the_sound_is_worn_once_the_check_is_decided(hears: bool) -> None:
    bench = begun(StepKind.CHECKLIST, StepKind.HEARD)
    bench.contact(0.5, "hook", CLOSED)
    bench.press(1.0)
    bench.contact(2.0, "hook", OPEN)
    assert bench.stage is Stage.PRE_USE
    assert bench.watch.snapshot().air_armed, "off its hook it is watched at once"
    if hears:
        bench.fact(10.0, "heard_test", True)
        bench.press(12.0)
    else:
        bench.advance(102.0)
    check = bench.watch.snapshot().check
    assert bench.stage is Stage.WORN
    assert check.state is (CheckState.PASSED if hears else CheckState.REFUSED)


def test_a_call_for_help_during_the_check_reaches_everybody_at_once() -> None:
    help_ = rule(Held("answer", 2 * SECOND_NS), id="help", priority=Priority.HIGH, killer=True)
    bench = Bench(plan(help_, contact_names=("ann",)))
    bench.command(0.0, Verb.PRE_USE)
    bench.contact(10.0, "answer", CLOSED)
    bench.advance(12.0)
    assert (bench.demand.far.value, bench.demand.tell) == ("high", ("ann",))


def test_a_restart_ends_the_check_and_is_said() -> None:
    bench = begun(StepKind.CHECKLIST)
    kept = bench.watch.carryover().after_restart(4 * SECOND_NS)
    bench.watch = type(bench.watch)(bench.watch.plan, from_seconds(5.0), kept)
    bench.advance(6.0)
    (told,) = [e.why for e in bench.said if isinstance(e, StepChanged) and e.step == "check"]
    assert (bench.stage, told) == (Stage.IDLE, "the station was started anew")


@pytest.mark.parametrize("arrangement", Arrangement)
def test_a_full_station_has_every_step_but_those_of_parts_it_lacks(
    arrangement: Arrangement,
) -> None:
    kinds = {step.kind for step in full_plan(arrangement).steps}
    lacks = {
        StepKind.LAMP,
        StepKind.ARMED,
        StepKind.RECORDING,
        StepKind.DISK,
        StepKind.CALIBRATION,
        StepKind.FILTER,
        StepKind.PROOF,
    }
    assert kinds == set(StepKind) - lacks


def test_time_left_is_shown_and_ends() -> None:
    bench = begun(StepKind.CHECKLIST)
    bench.advance(40.0)
    (view,) = bench.watch.snapshot().check.steps
    assert view.left_ns is not None
    assert to_seconds(view.left_ns) == 60.0
