"""The proof test: its steps per station, the instant of the cause, and what it came to."""

import pytest
from msgspec.structs import replace

from linetender.core.instants import SECOND_NS
from linetender.core.plan import AirPlan, FarEndPlan, Plan
from linetender.core.proof import (
    Cause,
    Judged,
    ProofClock,
    ProofKind,
    ProofResult,
    ProofStep,
    RuleTime,
    Sample,
    TimeToLeave,
    cause_of,
    changed_ns,
    judge_asked,
    judge_sound,
    judge_walk,
    normal_pa,
    proof_steps,
)
from linetender.core.signals import Signal
from linetender.core.stages import Stage
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped

SILENCE_S = {"wearer": 10.0, "attendant": 60.0}
TIMES = (
    RuleTime("fan_mains_lost", 0.0, 0.1),
    RuleTime("air_lost", 1.6, 2.2),
    RuleTime("air_jump", 0.0, 2.4),
)
AIR = AirPlan(Signal.HOOD_PRESSURE_PA, 50.0, 0.5, zero_pa=2.0)
FAN, PINCHED = ProofKind.FAN_PLUG, ProofKind.DUCT_PINCHED
OFF_FAN, OFF_HOOD = ProofKind.DUCT_OFF_AT_FAN, ProofKind.DUCT_OFF_AT_HOOD


def plan_of(name: str) -> Plan:
    return load_station(shipped(f"config/scenarios/stations/{name}.toml")).plan


WEARER_SIDE, FAN_SIDE = plan_of("wearer_side"), plan_of("fan_side")
WALK = ProofStep(ProofKind.WALK)
BY_AIR = (
    ProofStep(PINCHED, "air_lost", 2.2),
    ProofStep(OFF_FAN, "air_lost", 2.2),
    ProofStep(OFF_HOOD, "air_lost", 2.2),
)


@pytest.mark.parametrize(
    ("plan", "times", "outputs", "expected"),
    [
        pytest.param(
            WEARER_SIDE,
            TIMES[1:2],
            ["buzzer"],
            (ProofStep(FAN, "air_lost", 3.8000000000000003), *BY_AIR, WALK),
            id="no contact on the mains: the fan coasts",
        ),
        pytest.param(
            FAN_SIDE,
            TIMES,
            ["buzzer"],
            (
                ProofStep(FAN, "fan_mains_lost", 0.1),
                BY_AIR[0],
                ProofStep(OFF_FAN, "air_jump", 2.4, Stage.WORN),
                ProofStep(OFF_HOOD, "air_jump", 2.4, Stage.WORN),
                WALK,
            ),
            id="beside the fan a duct that is off reads high",
        ),
        pytest.param(WEARER_SIDE, TIMES, ["lamp_green"], (WALK,), id="nothing sounds"),
        pytest.param(WEARER_SIDE, (), ["buzzer"], (WALK,), id="no rule about the air"),
        pytest.param(
            replace(WEARER_SIDE, rules=(), far_ends=(FarEndPlan("house", "attendant"),)),
            (),
            ["keep_alive"],
            (
                WALK,
                ProofStep(ProofKind.BOX_PLUG, limit_s=5.0, stage=Stage.PRE_USE),
                ProofStep(ProofKind.EVERYTHING, limit_s=60.0, stage=Stage.PRE_USE),
            ),
            id="what is left when the box is gone",
        ),
    ],
)
def test_steps_exist_for_what_is_fitted(
    plan: Plan, times: tuple[RuleTime, ...], outputs: list[str], expected: tuple[ProofStep, ...]
) -> None:
    assert proof_steps(plan, times, outputs, SILENCE_S) == expected


def samples(*pressures_pa: float) -> list[Sample]:
    return [Sample(at * SECOND_NS, each) for at, each in enumerate(pressures_pa)]


@pytest.mark.parametrize(
    ("pressures_pa", "sound_s", "expected_s"),
    [
        pytest.param((52, 52, 30, 20, 2), 4, 2, id="a fall"),
        pytest.param((52, 10, 52, 52, 20), 4, 4, id="a gust that passed is no cause"),
        pytest.param((52, 52, 80, 90), 3, 2, id="a rise"),
        pytest.param((52, 52, 52), 2, None, id="no change"),
        pytest.param((52, 52, 20, 52, 52), 2, 2, id="what follows the sound does not count"),
        pytest.param((52, 44, 43, 42), 3, 3, id="to the tenth part: 43 Pa are 90.6 %"),
    ],
)
def test_the_air_left_its_normal_when_it_was_last_there(
    pressures_pa: tuple[float, ...], sound_s: int, expected_s: int | None
) -> None:
    normal = normal_pa(samples(51, 52, 53, 52, 9), AIR)
    assert normal == 50.0
    found = changed_ns(samples(*pressures_pa), AIR, normal, sound_s * SECOND_NS)
    assert found == (None if expected_s is None else expected_s * SECOND_NS)


def test_the_earliest_clock_counts() -> None:
    seen = {ProofClock.ENTER: 5, ProofClock.PRESSURE: 3, ProofClock.BUTTON: 4}
    assert cause_of(seen) == Cause(3, ProofClock.PRESSURE)
    assert cause_of({}) is None


STEP = ProofStep(PINCHED, "air_lost", 2.2)
LATE = "it sounded {} s after the cause; {} s at most was expected by air_lost"


@pytest.mark.parametrize(
    ("clock", "took_s", "rule", "expected"),
    [
        (ProofClock.PRESSURE, 2.7, "air_lost", Judged(ProofResult.PASSED)),
        (
            ProofClock.PRESSURE,
            2.75,
            "air_lost",
            Judged(ProofResult.FAILED, LATE.format("2.8", "2.7")),
        ),
        (ProofClock.ENTER, 3.2, "air_lost", Judged(ProofResult.PASSED)),
        (
            ProofClock.BUTTON,
            3.3,
            "air_lost",
            Judged(ProofResult.FAILED, LATE.format("3.3", "3.2")),
        ),
        (
            ProofClock.ENTER,
            0.5,
            "blind",
            Judged(ProofResult.PASSED, "in time, by blind instead of air_lost"),
        ),
    ],
)
def test_a_sound_is_judged_by_its_clock(
    clock: ProofClock, took_s: float, rule: str, expected: Judged
) -> None:
    cause = Cause(SECOND_NS, clock)
    assert judge_sound(STEP, cause, SECOND_NS + round(took_s * SECOND_NS), rule) == expected


def test_what_somebody_heard_is_judged() -> None:
    step = ProofStep(ProofKind.BOX_PLUG, limit_s=10.0)
    assert judge_asked(step, 12.0) == Judged(ProofResult.PASSED)
    assert judge_asked(step, 12.5).result is ProofResult.FAILED
    assert judge_asked(step, None) == Judged(ProofResult.FAILED, "nothing sounded")


@pytest.mark.parametrize(
    ("seconds", "opens_hood", "result"),
    [
        (8.0, False, ProofResult.PASSED),
        (8.1, False, ProofResult.FAILED),
        (8.1, True, ProofResult.PASSED),
    ],
)
def test_a_walk_is_held_against_the_alarm_budget(
    seconds: float, opens_hood: bool, result: ProofResult
) -> None:
    assert judge_walk(seconds, TimeToLeave(10.0, 18.0, opens_hood)).result is result
    assert judge_walk(seconds, None).result is ProofResult.PASSED
