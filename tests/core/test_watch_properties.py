"""What must hold whatever happens: random days at both full stations with the default rules."""

import msgspec
import pytest
from hypothesis import given, note, settings
from hypothesis import strategies as st

from core.full_stations import default_plan, full_plan
from core.generated_days import DAYS, Day, inputs_of, well_again
from core.safety_monitor import Monitor
from linetender.core.air_readings import AirReadings
from linetender.core.carryover import Carryover
from linetender.core.channel import Channel
from linetender.core.conditions.condition import Verdict
from linetender.core.conditions.level import INFINITY
from linetender.core.drive import drive
from linetender.core.events import Event, Sound
from linetender.core.hands import PRESS_SEES_AFTER_NS
from linetender.core.inputs import Contact, ContactState, Input
from linetender.core.instants import SECOND_NS
from linetender.core.plan import Arrangement, Plan
from linetender.core.stages import Stage
from linetender.core.watch import Watch

# Each example is a day of several minutes, so there are fewer of them than of cheaper cases.
FEW = settings(max_examples=settings().max_examples // 3)
ARRANGEMENTS = pytest.mark.parametrize("arrangement", Arrangement)
AFTERWARDS_NS = 200 * SECOND_NS
PLACES = st.lists(st.floats(0, 1), max_size=12)
"""Places within a day, as parts of the number of its inputs."""


def after_json(carryover: Carryover) -> Carryover:
    """Return what is left of a carryover on the disk."""
    return msgspec.json.decode(msgspec.json.encode(carryover), type=Carryover)


def same(one: Carryover, other: Carryover) -> bool:
    """Compare what two would leave on the disk."""
    return msgspec.json.encode(one) == msgspec.json.encode(other)


def at_places(inputs: tuple[Input, ...], places: list[float]) -> set[int]:
    """Turn parts of a day into positions of its inputs."""
    return {int(place * len(inputs)) for place in places}


def whole_day(plan: Plan, inputs: tuple[Input, ...]) -> tuple[list[Event], Watch]:
    """Drive a day in one go."""
    watch = Watch(plan, 0)
    events: list[Event] = []
    drive(inputs, _end_ns(inputs), watch, events.extend)
    return events, watch


def _end_ns(inputs: tuple[Input, ...]) -> int:
    return (inputs[-1].arrived_ns if inputs else 0) + AFTERWARDS_NS


QUIET = (Sound.SILENT, Sound.TICKS)


@ARRANGEMENTS
@FEW
@given(day=DAYS, places=PLACES, blind_s=st.sampled_from((0.0, 0.5, 4.0, 30.0, 7200.0, None)))
def test_no_promise_of_safety_is_broken(
    arrangement: Arrangement, day: Day, places: list[float], blind_s: float | None
) -> None:
    """Killers sound, true alarms stay, silence lowers nothing, restarts included."""
    plan = full_plan(arrangement)
    inputs = inputs_of(plan, day)
    restarts = sorted(at_places(inputs, places[:2]))
    watch, monitor = Watch(plan, 0), Monitor(plan)
    blind_ns = None if blind_s is None else round(blind_s * SECOND_NS)
    shift_ns = 0
    for place, item in enumerate(inputs):
        if place in restarts:
            watch = _restarted(watch, blind_ns, monitor)
            shift_ns += 5 * SECOND_NS if blind_ns is None else blind_ns
        shifted = msgspec.structs.replace(item, arrived_ns=item.arrived_ns + shift_ns)
        monitor.take(shifted, watch.feed(shifted), watch)
    for _ in range(20):
        monitor.take(None, watch.advance(watch.now_ns + AFTERWARDS_NS // 20), watch)
    for item in well_again(plan, watch.now_ns):
        monitor.take(item, watch.feed(item), watch)
    # What is absent all the time must have been cleared: no alarm stays for no reason.
    stay = [alarm for alarm in watch.wiring.alarms if alarm.present]
    assert [a.plan.id for a in stay if a.condition.verdict is not Verdict.PRESENT] == []


def _restarted(watch: Watch, blind_ns: int | None, monitor: Monitor) -> Watch:
    """Restart, and compare before and after."""
    stage, air = watch.use.stage, watch.use.watches_air()
    before = {alarm.plan.id: (alarm.state, alarm.priority) for alarm in watch.wiring.alarms}
    present = {alarm.plan.id for alarm in watch.wiring.alarms if alarm.present}
    carryover = after_json(watch.carryover()).after_restart(blind_ns)
    started_ns = watch.now_ns + (5 * SECOND_NS if blind_ns is None else blind_ns)
    new = Watch(watch.plan, started_ns, after_json(carryover))
    if stage is Stage.PRE_USE:  # a check that was broken off is not gone on with
        stage = Stage.WORN if new.use.hook == "open" else Stage.IDLE
        air = new.use.watches_air()
    assert (new.use.stage, new.use.watches_air()) == (stage, air)
    assert {a.plan.id: (a.state, a.priority) for a in new.wiring.alarms} == before
    assert {alarm.plan.id for alarm in new.wiring.alarms if alarm.present} == present
    monitor.restart(new)
    monitor.take(None, new.advance(started_ns), new)
    return new


@ARRANGEMENTS
@FEW
@given(day=DAYS, places=PLACES)
def test_any_split_of_time_gives_the_same_events(
    arrangement: Arrangement, day: Day, places: list[float]
) -> None:
    """Feed whole, one by one, with short advances, or with `next_deadline` asked between."""
    plan = full_plan(arrangement)
    inputs = inputs_of(plan, day)
    whole, watch = whole_day(plan, inputs)
    split_at = at_places(inputs, places)
    pieces = Watch(plan, 0)
    events: list[Event] = []
    for place, item in enumerate(inputs):
        if place in split_at:
            for part in (1, 2, 5, 7):
                gap_ns = item.arrived_ns - pieces.now_ns
                events += pieces.advance(pieces.now_ns + gap_ns * part // 8)
            pieces.next_deadline()
            pieces.snapshot()
        events += pieces.feed(item)
    while pieces.now_ns < watch.now_ns:
        events += pieces.advance(min(watch.now_ns, pieces.now_ns + 700_000_000))
    assert events == whole
    assert same(pieces.carryover(), watch.carryover())


@ARRANGEMENTS
@FEW
@given(day=DAYS, places=PLACES)
def test_a_new_watch_with_a_carryover_of_age_0_continues_identically(
    arrangement: Arrangement, day: Day, places: list[float]
) -> None:
    """Rotate the file at some instants, between inputs and inside gaps."""
    plan = full_plan(arrangement)
    inputs = inputs_of(plan, day)
    whole, watch = whole_day(plan, inputs)
    cuts = at_places(inputs, places)
    segment = Watch(plan, 0)
    events: list[Event] = []
    for place, item in enumerate(inputs):
        if place in cuts:
            events += segment.advance((segment.now_ns + item.arrived_ns) // 2)
            kept = after_json(segment.carryover())
            segment = Watch(plan, segment.now_ns, kept)
            assert same(segment.carryover(), kept)
        events += segment.feed(item)
    segment = Watch(plan, segment.now_ns, after_json(segment.carryover()))
    events += segment.advance(watch.now_ns)
    assert events == whole
    assert same(segment.carryover(), watch.carryover())


@ARRANGEMENTS
@FEW
@given(day=DAYS, places=PLACES)
def test_the_next_deadline_is_true(arrangement: Arrangement, day: Day, places: list[float]) -> None:
    """Nothing falls due before it; without one, silence changes nothing at all."""
    plan = full_plan(arrangement)
    inputs = inputs_of(plan, day)
    asked_at = at_places(inputs, [*places, 1.0])
    watch = Watch(plan, 0)
    for place, item in enumerate((*inputs, None)):
        if place in asked_at:
            kept = watch.carryover()
            ahead = Watch(plan, watch.now_ns, kept)
            until_ns = watch.now_ns + SECOND_NS
            soon_ns = watch.next_deadline(until_ns)
            deadline_ns = watch.next_deadline()
            assert deadline_ns == ahead.next_deadline()
            is_soon = deadline_ns is not None and deadline_ns < until_ns
            assert soon_ns == (deadline_ns if is_soon else None)
            note(f"at {watch.now_ns} the next deadline is {deadline_ns}")
            if deadline_ns is None:
                assert ahead.advance(watch.now_ns + 10_000 * SECOND_NS) == ()
            elif deadline_ns > watch.now_ns:
                assert ahead.advance(deadline_ns - 1) == ()
                events = ahead.advance(deadline_ns + 10 * SECOND_NS)
                assert all(event.due_ns >= deadline_ns for event in events)
        if item is not None:
            watch.feed(item)


@ARRANGEMENTS
@FEW
@given(day=DAYS)
def test_guard_intervals_change_nothing(arrangement: Arrangement, day: Day) -> None:
    """A Watch that looks at every reading says the same."""
    plan = full_plan(arrangement)
    inputs = inputs_of(plan, day)
    guarded, _ = whole_day(plan, inputs)
    with pytest.MonkeyPatch.context() as patch:
        requiet = Channel.requiet

        def never_quiet(channel: Channel) -> None:
            requiet(channel)
            channel.low, channel.high = INFINITY, -INFINITY

        patch.setattr(Channel, "requiet", never_quiet)
        patch.setattr(AirReadings, "combine", lambda readings, now_ns, look_ns: None)
        unguarded, _ = whole_day(plan, inputs)
    assert guarded == unguarded


@ARRANGEMENTS
@FEW
@given(day=DAYS)
def test_what_is_put_aside_changes_nothing(arrangement: Arrangement, day: Day) -> None:
    """A Watch that takes each reading as it comes says and leaves the same.

    With the default rules and what foretells the air: of both, windows may be closed late.
    """
    plan = default_plan(arrangement)
    foretells = [r for r in full_plan(arrangement).rules if r.id == "test_air_heads_down"]
    plan = msgspec.structs.replace(plan, rules=(*plan.rules, *foretells))
    inputs = inputs_of(plan, day)
    late, watch = whole_day(plan, inputs)
    at_once = Watch(plan, 0)
    events: list[Event] = []
    for item in inputs:
        events += at_once.feed(item)
        at_once.snapshot()  # Takes what was put aside.
    events += at_once.advance(watch.now_ns)
    assert events == late
    assert same(at_once.carryover(), watch.carryover())


@ARRANGEMENTS
@FEW
@given(day=DAYS, places=PLACES, blind_s=st.sampled_from((0.0, 4.0, 7200.0, None)))
def test_what_sounds_outside_use_can_be_answered_by_one_press(
    arrangement: Arrangement, day: Day, places: list[float], blind_s: float | None
) -> None:
    """No order of presses, commands, faults and restarts leaves a sound that nobody can stop."""
    plan = full_plan(arrangement)
    inputs = inputs_of(plan, day)
    tried_at = at_places(inputs, places[:4])
    watch = Watch(plan, 0)
    for place, item in enumerate(inputs):
        if place in tried_at:
            _look_for_unanswered(Watch(plan, watch.now_ns, after_json(watch.carryover())))
        watch.feed(item)
    blind_ns = None if blind_s is None else round(blind_s * SECOND_NS)
    left = after_json(watch.carryover().after_restart(blind_ns))
    _look_for_unanswered(Watch(plan, watch.now_ns + 5 * SECOND_NS, left))
    _look_for_unanswered(watch)


def _look_for_unanswered(watch: Watch) -> None:
    """Press the button in idle while anything sounds: that must quiet it."""
    for _ in range(3):
        watch.advance(watch.now_ns + SECOND_NS)
        if watch.use.stage is not Stage.IDLE or watch.telling.demand.sound in QUIET:
            continue
        if any(a.changed_ns > watch.now_ns - PRESS_SEES_AFTER_NS for a in watch.wiring.alarms):
            continue
        for state in (ContactState.OPEN, ContactState.CLOSED):
            watch.feed(Contact(watch.now_ns, "answer", state))
        assert watch.telling.demand.sound in QUIET
        watch.feed(Contact(watch.now_ns, "answer", ContactState.OPEN))
