"""Events reach the broker once it is there, each once, in order and marked late."""

import json
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from linetender.annunciation.payloads import Wall
from linetender.core.alarm_table import AlarmState
from linetender.core.carryover import Carryover
from linetender.core.events import AlarmChanged, Event
from linetender.core.inputs import By, Verb
from linetender.core.snapshot import Snapshot
from linetender.core.stages import Priority
from linetender.memory.store import FILE_NAME, MemoryFault, open_store
from linetender.runtime import outbox as runtime_outbox
from linetender.runtime.clock import demo_wall_clock
from linetender.runtime.live_station import Listener, LiveStation, Surroundings
from linetender.runtime.outbox import HANGS_AFTER_NS, Outbox
from linetender.runtime.outgoing import LOST
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.pins import OutputEdge
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual
from mosquitto_broker import PATIENCE_S
from runtime.demo_sessions import BUZZER_GPIO, demo_station
from runtime.outbox_victim import AT, last_number

S = 1_000_000_000


class FakeBroker:
    """A link whose broker comes and goes; it notes what it took."""

    def __init__(self) -> None:
        self.there = True
        self.reason = 0
        self.taken: list[dict[str, Any]] = []

    def publish(
        self,
        topic: str,
        payload: bytes,
        *,
        qos: int = 0,
        retain: bool = False,
        expiry_s: int | None = None,
        answered: Callable[[int], None] | None = None,
    ) -> None:
        assert (topic, qos, retain, expiry_s) == ("event", 1, False, 86_400)
        assert self.there
        if self.reason < 0x80:
            self.taken.append(json.loads(payload))
        assert answered is not None
        answered(self.reason)

    def ids(self) -> list[str]:
        return [message["id"] for message in self.taken]


class Time:
    """A machine's clocks, moved by hand, or by a loop."""

    def __init__(self, clock: VirtualClock | None = None) -> None:
        self.hand_ns = 0
        self.wall = Wall(AT, True)
        self._clock = clock

    def now_ns(self) -> int:
        return self.hand_ns if self._clock is None else self._clock.now_ns()


def outbox(
    folder: Path, broker: FakeBroker, time: Time, boot: str = "boot", capacity: int = 1_000
) -> Outbox:
    return Outbox(
        folder,
        "event",
        "0a1b2c3d",
        boot,
        broker.publish,
        lambda: broker.there,
        lambda: time.wall,
        now_ns=time.now_ns,
        capacity=capacity,
    )


def event(n: int, due_ns: int = 0, priority: Priority = Priority.HIGH) -> AlarmChanged:
    before, after = AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED
    return AlarmChanged(due_ns, n, "air_lost", before, after, priority)


def state(n: int) -> Carryover:
    return Carryover({"journal": {"n": n}})


def work(box: Outbox) -> None:
    """Do all that can be done now."""
    while box.store_turn() or box.send_turn():
        pass


def test_an_event_goes_from_the_disk_to_the_broker(tmp_path: Path) -> None:
    broker, time = FakeBroker(), Time()
    box = outbox(tmp_path, broker, time)
    box.keep(state(1), (event(1),))
    assert not box.send_turn()  # the disk goes first
    assert box.store_turn()
    assert last_number(tmp_path) == 1
    work(box)
    box.close_store()
    assert broker.taken == [
        {
            "id": "0a1b2c3d-1",
            "rule": "air_lost",
            "from": "normal",
            "to": "unacknowledged",
            "at": AT,
            "late_s": None,
            "v": 1,
        }
    ]
    assert outbox(tmp_path, broker, time).waiting == 0


def test_a_slow_disk_is_not_waited_for(tmp_path: Path) -> None:
    broker, time = FakeBroker(), Time()
    box = outbox(tmp_path, broker, time)
    box.keep(state(1), (event(1),))
    time.hand_ns = S // 5
    assert box.send_turn()
    assert broker.ids() == ["0a1b2c3d-1"]


def test_what_a_run_left_is_delivered_by_the_next_and_marked_late(tmp_path: Path) -> None:
    broker, time = FakeBroker(), Time()
    broker.there = False
    box = outbox(tmp_path, broker, time)
    box.keep(state(1), (event(1),))
    work(box)
    box.close_store()
    broker.there = True
    time.hand_ns = 90 * S
    box = outbox(tmp_path, broker, time)
    work(box)
    box.close_store()
    assert [(one["id"], one["late_s"]) for one in broker.taken] == [("0a1b2c3d-1", 90.0)]


@pytest.mark.parametrize(
    ("wall", "late_s"),
    [("2000-01-01T02:00:00+00:00", 7200.0), ("1999-01-01T00:00:00+00:00", 5.0)],
)
def test_after_a_power_down_the_time_of_day_says_how_late(
    wall: str, late_s: float, tmp_path: Path
) -> None:
    broker, time = FakeBroker(), Time()
    box = outbox(tmp_path, broker, time)
    box.keep(state(1), (event(1),))
    box.store_turn()
    box.close_store()
    time.wall = Wall(wall, True)
    box = outbox(tmp_path, broker, time, boot="another")
    work(box)
    box.close_store()
    assert [one["late_s"] for one in broker.taken] == [late_s]


def test_a_broker_that_refuses_keeps_the_event_and_is_told(tmp_path: Path) -> None:
    broker, time = FakeBroker(), Time()
    box = outbox(tmp_path, broker, time)
    broker.reason = 0x97
    box.keep(state(1), (event(1),))
    work(box)
    assert (box.waiting, "reason 151" in box.refusal) == (1, True)
    broker.reason = 0
    time.hand_ns = 30 * S
    work(box)
    box.close_store()
    assert (box.waiting, box.refusal, broker.ids()) == (0, "", ["0a1b2c3d-1"])


def test_when_too_many_wait_one_message_says_how_many_are_missing(tmp_path: Path) -> None:
    broker, time = FakeBroker(), Time()
    broker.there = False
    box = outbox(tmp_path, broker, time, capacity=100)
    for n in range(1, 151):
        box.keep(state(n), (event(n, priority=Priority.LOW),))
    work(box)
    broker.there = True
    work(box)
    box.close_store()
    first, *rest = broker.taken
    assert first == {"id": "0a1b2c3d-1-lost", "lost": 51, "at": AT, "late_s": None, "v": 1}
    assert [one["id"] for one in rest] == [f"0a1b2c3d-{n}" for n in range(52, 151)]


def test_a_disk_that_fails_is_told_and_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broker, time = FakeBroker(), Time()
    box = outbox(tmp_path, broker, time)

    def fails(*_: object) -> None:
        raise MemoryFault("the disk is full")

    with monkeypatch.context() as broken:
        broken.setattr(runtime_outbox, "store_changes", fails)
        box.keep(state(1), (event(1),))
        assert not box.store_turn()
        assert box.fault == "the disk is full"
    assert box.store_turn()
    assert box.fault == ""
    assert last_number(tmp_path) == 1
    work(box)
    box.close_store()
    assert broker.ids() == ["0a1b2c3d-1"]


def test_a_disk_that_hangs_is_told_and_another_thread_stores(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first one comes back later, and must not put the old state over the new one."""
    broker, time = FakeBroker(), Time()
    box = outbox(tmp_path, broker, time)
    hangs, release, stored = threading.Event(), threading.Event(), threading.Event()
    really = runtime_outbox.store_changes

    def store(*given: Any) -> None:
        if not hangs.is_set():
            hangs.set()
            assert release.wait(PATIENCE_S)
        really(*given)
        stored.set()

    monkeypatch.setattr(runtime_outbox, "store_changes", store)
    box.start()
    first = box._storer
    box.keep(state(1), (event(1),))
    assert hangs.wait(PATIENCE_S)
    box.renew_if_stuck()
    assert (box.fault, box._storer) == ("", first)  # not yet
    time.hand_ns += HANGS_AFTER_NS
    box.renew_if_stuck()
    assert "does not answer" in box.fault
    box.keep(state(2), (event(2),))
    assert stored.wait(PATIENCE_S)
    pause = threading.Event()
    while "0a1b2c3d-2" not in broker.ids():
        pause.wait(0.01)
    release.set()
    first.join(PATIENCE_S)
    box.close(PATIENCE_S)
    assert not first.is_alive()
    assert (box.fault, last_number(tmp_path)) == ("", 2)
    assert list(dict.fromkeys(broker.ids())) == ["0a1b2c3d-1", "0a1b2c3d-2"]


def test_an_event_that_was_on_its_way_when_the_broker_went_is_marked_late(tmp_path: Path) -> None:
    """Sent in time and never answered: what comes in the end came late."""
    broker, time = FakeBroker(), Time()
    box = outbox(tmp_path, broker, time)
    broker.reason = LOST
    box.keep(state(1), (event(1),))
    box.store_turn()
    assert box.send_turn()
    broker.there, time.hand_ns = False, 60 * S
    assert not box.send_turn()
    broker.there, broker.reason = True, 0
    work(box)
    assert [(one["id"], one["late_s"]) for one in broker.taken] == [
        ("0a1b2c3d-1", None),
        ("0a1b2c3d-1", 60.0),
    ]
    box.close_store()
    assert box.waiting == 0


def test_a_memory_that_is_none_is_said_at_the_start(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).write_bytes(b"no database, and long enough to be taken for one" * 100)
    with pytest.raises(MemoryFault):
        outbox(tmp_path, FakeBroker(), Time())


def test_state_and_events_are_stored_together_or_not_at_all(tmp_path: Path) -> None:
    broker, time = FakeBroker(), Time()
    box = outbox(tmp_path, broker, time)
    box.keep(state(1), (event(1),))
    box.store_turn()
    box.close_store()
    with open_store(tmp_path) as store, pytest.raises(RuntimeError, match="power cut"):
        with store.changing() as connection:
            connection.execute("DELETE FROM outbox")
            connection.execute("UPDATE kept_state SET content = '{}'")
            raise RuntimeError("power cut")
    assert (last_number(tmp_path), outbox(tmp_path, broker, time).waiting) == (1, 1)


# A station in virtual time, with no broker for an hour in mid-alarm.

WORN_S, AWAY_S, BACK_S, END_S = 1.0, 30.0, 3_630.0, 3_700.0


class Working:
    """An outbox that works inline whenever it is handed something, and each second."""

    fault = ""

    def __init__(self, box: Outbox) -> None:
        self._box = box

    def keep(self, carryover: Carryover, events: tuple[Event, ...] = (), told_ns: int = 0) -> None:
        self._box.keep(carryover, events, told_ns)
        work(self._box)

    def close(self, within_s: float = 2.0) -> None:
        self._box.close_store()

    def listen(self, events: tuple[Event, ...], _: Snapshot) -> None:
        if not events:
            work(self._box)


def blind_hour(folder: Path | None, broker: FakeBroker) -> tuple[list[OutputEdge], list[Event]]:
    """Live an hour hood on with no sensor at all, answering each minute; return edges and events.

    Without a folder there is no outbox.
    """
    station = demo_station()
    outputs = tuple(device for device in station.devices if device.output)
    events: list[Event] = []

    async def run() -> list[OutputEdge]:
        clock = VirtualClock()
        machine = SimulatedMachine(clock)
        keeper = None
        listeners: list[Listener] = [lambda said, _: events.extend(said)]
        if folder is not None:
            keeper = Working(outbox(folder, broker, Time(clock)))
            listeners.append(keeper.listen)
        around = Surroundings(
            machine, clock, demo_wall_clock, "test", keeper=keeper, listeners=listeners
        )
        live = LiveStation(replace(station, devices=outputs), around)

        async def hands() -> None:
            await clock.sleep_until_ns(round(WORN_S * S))
            live.command(Verb.START, By.WEARER)
            await clock.sleep_until_ns(round(AWAY_S * S))
            broker.there = False
            for minute in range(1, 61):
                await clock.sleep_until_ns(minute * 60 * S)
                live.command(Verb.ACKNOWLEDGE, By.WEARER)
            await clock.sleep_until_ns(round(BACK_S * S))
            broker.there = True
            await clock.sleep_until_ns(round(END_S * S))

        await live.run(hands())
        if keeper is not None:
            keeper.close()
        return machine.simulated_pins.edges

    return run_virtual(run()), events


def test_an_hour_without_a_broker_in_mid_alarm(tmp_path: Path) -> None:
    broker = FakeBroker()
    alone, _ = blind_hour(None, FakeBroker())
    edges, events = blind_hour(tmp_path, broker)
    assert edges == alone
    assert len([edge for edge in edges if edge.gpio == BUZZER_GPIO]) > 5_000
    changed = [one for one in events if isinstance(one, AlarmChanged)]
    assert [(one["id"], one["rule"], one["to"]) for one in broker.taken] == [
        (f"0a1b2c3d-{one.n}", one.rule, one.after.value) for one in changed
    ]
    assert len(changed) > 120
    for one, message in zip(changed, broker.taken, strict=True):
        waited_s = BACK_S - one.due_ns / S
        is_late = AWAY_S <= one.due_ns / S and waited_s > 5
        assert message["late_s"] == (pytest.approx(waited_s, abs=1.1) if is_late else None)
