"""Whole sequences of what is published, for whole sequences of what the core says."""

import json
from typing import Any

from linetender.annunciation.payloads import Wall
from linetender.annunciation.words import HELPER_CAUTION, HELPER_CAUTION_AFTERWARDS
from linetender.core.alarm_table import AlarmState
from linetender.core.cause import Cause
from linetender.core.events import (
    AlarmChanged,
    CauseNamed,
    Demand,
    DemandChanged,
    Event,
    StageChanged,
)
from linetender.core.inputs import Quality
from linetender.core.instants import MILLISECOND_NS, SECOND_NS
from linetender.core.plan import Arrangement, Below, Plan, RulePlan
from linetender.core.signals import Signal
from linetender.core.snapshot import AlarmView, SignalView, Snapshot
from linetender.core.stages import Priority, Stage
from linetender.runtime.telling import Teller

RUN = "0a1b2c3d"
AIR_SAYS = "Air lost. Leave, then take the hood off."
LOW_SAYS = "Air is low. Look at the duct."


def rule(name: str, priority: Priority, say: str) -> RulePlan:
    condition = Below(Signal.AIR_PERCENT_OF_BASELINE, 65.0, 10.0)
    return RulePlan(name, condition, priority, 0, 0, (Stage.WORN,), say=say)


# An invented station.
PLAN = Plan(
    station="bench",
    arrangement=Arrangement.WEARER_SIDE,
    air=None,
    signals=(Signal.HOOD_PRESSURE_PA,),
    contacts=(),
    rules=(
        rule("air_lost", Priority.HIGH, AIR_SAYS),
        rule("air_low", Priority.MEDIUM, LOW_SAYS),
    ),
)


class Published:
    """Keeps what is published, in order."""

    def __init__(self) -> None:
        self.messages: list[tuple[str, Any, int, bool, int | None]] = []

    def __call__(
        self,
        topic: str,
        payload: bytes,
        *,
        qos: int = 0,
        retain: bool = False,
        expiry_s: int | None = None,
    ) -> None:
        text = payload.decode()
        read = text if topic.endswith("/say") else json.loads(text, parse_constant=reject)
        self.messages.append((topic, read, qos, retain, expiry_s))

    def take(self) -> list[tuple[str, Any, int, bool, int | None]]:
        taken, self.messages = self.messages, []
        return taken


def reject(word: str) -> None:
    raise AssertionError(f"{word} in a payload")


def snapshot(
    now_ns: int = 0,
    stage: Stage = Stage.WORN,
    n: int = 0,
    signals: tuple[SignalView, ...] = (),
    alarms: tuple[AlarmView, ...] = (),
) -> Snapshot:
    return Snapshot(now_ns, stage, n, signals, alarms, Demand(), False, None)


def wall(second: int) -> Wall:
    return Wall(f"2031-01-02T03:04:{second:02}+00:00", True)


def state(
    seq: int,
    second: int,
    stage: str = "worn",
    signals: dict[str, Any] | None = None,
    alarms: list[dict[str, Any]] | None = None,
) -> tuple[str, Any, int, bool, int | None]:
    payload = {
        "run": RUN,
        "seq": seq,
        "at": wall(second).at,
        "synchronised": True,
        "stage": stage,
        "signals": signals or {},
        "alarms": alarms or [],
        "far": "silent",
        "v": 1,
    }
    return ("linetender/bench/state", payload, 1, True, None)


def alarm(
    name: str, n: int, state: str, priority: str, since: int | None, text: str, **cause: str
) -> tuple[str, Any, int, bool, int | None]:
    payload = {
        "run": RUN,
        "n": n,
        "state": state,
        "priority": priority,
        "since": None if since is None else wall(since).at,
        "text": text,
        "do": cause.get("do", ""),
        "cause": cause.get("cause", ""),
        "v": 1,
    }
    return (f"linetender/bench/alarm/{name}", payload, 1, True, None)


def event(
    n: int, name: str, before: str, after: str, second: int, late_s: float | None = None
) -> tuple[str, Any, int, bool, int | None]:
    payload = {
        "id": f"{RUN}-{n}",
        "rule": name,
        "from": before,
        "to": after,
        "at": wall(second).at,
        "late_s": late_s,
        "v": 1,
    }
    return ("linetender/bench/event", payload, 1, False, 86_400)


def say(line: str) -> tuple[str, Any, int, bool, int | None]:
    return ("linetender/bench/say", line, 1, False, 300)


def changed(
    at_s: int, n: int, name: str, before: AlarmState, after: AlarmState, why: str = ""
) -> AlarmChanged:
    priority = Priority.HIGH if name == "air_lost" else Priority.MEDIUM
    return AlarmChanged(at_s * SECOND_NS, n, name, before, after, priority, why=why)


def test_an_alarm_is_told_from_raise_to_end() -> None:
    published = Published()
    teller = Teller(PLAN, RUN, published)
    normal, raised = AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED
    answered = AlarmState.ACKNOWLEDGED
    cause = CauseNamed(2 * SECOND_NS, "air_lost", Cause.FAN_STOPPED, 0.9)
    script: list[tuple[int, tuple[Event, ...]]] = [
        (1, (changed(1, 1, "air_lost", normal, raised), DemandChanged(SECOND_NS, Demand()))),
        (2, (cause,)),
        (3, (changed(3, 2, "air_lost", raised, answered, "wearer"),)),
        (4, (changed(4, 3, "air_lost", answered, normal),)),
    ]
    for at_s, events in script:
        teller.events(events, snapshot(at_s * SECOND_NS, n=at_s), wall(at_s))
    do = "Leave. Once out: look at the fan and its plug."
    named = {"do": do, "cause": "The fan has stopped."}
    assert published.take() == [
        alarm("air_lost", 1, "unacknowledged", "high", 1, AIR_SAYS),
        event(1, "air_lost", "normal", "unacknowledged", 1),
        say(f"LEAVE: {AIR_SAYS} {HELPER_CAUTION}"),
        state(1, 1),
        alarm("air_lost", 1, "unacknowledged", "high", 1, AIR_SAYS, **named),
        say(f"Cause: The fan has stopped. {do} {HELPER_CAUTION}"),
        alarm("air_lost", 2, "acknowledged", "high", 1, AIR_SAYS, **named),
        event(2, "air_lost", "unacknowledged", "acknowledged", 3),
        say(f"LEAVE, answered by the wearer, not over: {AIR_SAYS} {HELPER_CAUTION}"),
        state(2, 3),
        alarm("air_lost", 3, "normal", "high", None, AIR_SAYS),
        event(3, "air_lost", "acknowledged", "normal", 4),
        say(f"Over: Air lost. {HELPER_CAUTION_AFTERWARDS}"),
        state(3, 4),
    ]


def test_a_phone_is_not_shown_what_another_alarm_suppresses_nor_its_end() -> None:
    published = Published()
    teller = Teller(PLAN, RUN, published)
    normal, raised = AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED
    suppressed = AlarmState.SUPPRESSED
    script = [
        changed(1, 1, "air_low", normal, suppressed, "air_lost"),
        changed(2, 2, "air_low", suppressed, normal),
        changed(3, 3, "air_low", normal, suppressed, "air_lost"),
        changed(4, 4, "air_low", suppressed, raised),
        changed(5, 5, "air_low", raised, suppressed, "out"),
        changed(6, 6, "air_low", suppressed, normal),
    ]
    for number, one in enumerate(script, start=1):
        teller.events((one,), snapshot(number * SECOND_NS), wall(number))
    messages = published.take()
    assert [one for one in messages if one[0].endswith("/say")] == [
        say(f"LOOK, again: {LOW_SAYS}"),
        say("The wearer is out: Air is low."),
        say("Over: Air is low."),
    ]
    told = [one[1]["to"] for one in messages if one[0].endswith("/event")]
    assert told == [one.after.value for one in script]


def test_an_event_told_more_than_five_seconds_later_is_marked_late() -> None:
    published = Published()
    teller = Teller(PLAN, RUN, published)
    raised = changed(10, 1, "air_low", AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED)
    teller.events((raised,), snapshot(15 * SECOND_NS), wall(10))
    teller.events((raised,), snapshot(15 * SECOND_NS + 100 * MILLISECOND_NS), wall(10))
    told = [message for message in published.take() if message[0].endswith("/event")]
    assert told == [
        event(1, "air_low", "normal", "unacknowledged", 10),
        event(1, "air_low", "normal", "unacknowledged", 10, late_s=5.1),
    ]


def test_begin_tells_every_rule_so_that_no_earlier_run_lives_on() -> None:
    published = Published()
    view = AlarmView("air_low", AlarmState.ACKNOWLEDGED, Priority.MEDIUM, 0, 4, LOW_SAYS)
    now = snapshot(n=4, alarms=(view,))
    Teller(PLAN, RUN, published).begin(now, wall(7))
    listed = {
        "rule": "air_low",
        "n": 4,
        "state": "acknowledged",
        "priority": "medium",
        "text": LOW_SAYS,
    }
    assert published.take() == [
        alarm("air_lost", 0, "normal", "high", None, AIR_SAYS),
        alarm("air_low", 4, "acknowledged", "medium", 7, LOW_SAYS),
        state(1, 7, alarms=[listed]),
    ]


def test_heartbeat_each_second_and_state_each_ten_or_on_a_change_of_stage() -> None:
    published = Published()
    teller = Teller(PLAN, RUN, published)
    told: list[tuple[int, str, int]] = []
    for tenth in range(0, 161):
        now = snapshot(tenth * SECOND_NS // 10, n=3)
        if tenth == 45:
            stages = (StageChanged(now.now_ns, Stage.IDLE, Stage.WORN, "hook"),)
            teller.events(stages, now, wall(4))
        teller.tick(now.now_ns, now, wall(tenth // 10))
        for topic, payload, qos, retain, _ in published.take():
            name = topic.removeprefix("linetender/bench/")
            told.append((tenth, name, payload["seq"]))
            assert (qos, retain) == ((1, True) if name == "state" else (0, False))
            if name == "alive":
                assert payload == {
                    "run": RUN,
                    "seq": payload["seq"],
                    "stage": "worn",
                    "shown": 3,
                    "far": "silent",
                    "v": 1,
                }
    assert [line for line in told if line[1] == "alive"] == [
        (10 * second, "alive", second + 1) for second in range(17)
    ]
    assert [line for line in told if line[1] == "state"] == [
        (0, "state", 1),
        (45, "state", 2),
        (145, "state", 3),
    ]


def test_a_stalled_loop_does_not_send_a_volley_of_heartbeats() -> None:
    published = Published()
    teller = Teller(PLAN, RUN, published)
    for at_ms in (0, 1004, 2000, 9000, 9001, 9999, 10_000):
        teller.alive(at_ms * MILLISECOND_NS, snapshot())
        published.messages.append((str(at_ms), None, 0, False, None))
    sent_before = [
        message[0]
        for earlier, message in zip(published.messages, published.messages[1:], strict=False)
        if earlier[0].endswith("/alive")
    ]
    assert sent_before == ["0", "1004", "2000", "9000", "10000"]


def test_signals_are_rounded_and_nothing_that_json_cannot_say_leaves() -> None:
    published = Published()
    pressure = Signal.HOOD_PRESSURE_PA
    views = (
        SignalView(Signal.DUCT_PRESSURE_PA, 12.3456, None, Quality.GOOD, 1_260_000_000),
        SignalView(pressure, float("nan"), None, Quality.GOOD, 40_000_000),
        SignalView(Signal.SPO2_PERCENT, None, "no_reading_yet", Quality.BAD, None),
    )
    Teller(PLAN, RUN, published).state(snapshot(signals=views), wall(0))
    signals = {
        "duct_pressure_pa": {"value": 12.35, "reason": None, "quality": "good", "age_s": 1.3},
        "hood_pressure_pa": {
            "value": None,
            "reason": "not_finite",
            "quality": "bad",
            "age_s": 0.0,
        },
        "spo2_percent": {
            "value": None,
            "reason": "no_reading_yet",
            "quality": "bad",
            "age_s": None,
        },
    }
    assert published.take() == [state(1, 0, signals=signals)]
