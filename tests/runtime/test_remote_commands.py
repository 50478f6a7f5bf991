"""Commands over the broker: what is taken, what never, and what a real broker guards."""

import asyncio
import json
import logging
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from linetender.annunciation.acceptance import Refusal
from linetender.annunciation.topics import Topics
from linetender.core.alarm_table import AlarmState
from linetender.core.events import Demand
from linetender.core.inputs import By, Command, Fact, Input, Verb
from linetender.core.plan import Arrangement, Below, Plan, RulePlan
from linetender.core.signals import Signal
from linetender.core.snapshot import AlarmView, Snapshot
from linetender.core.stages import Priority, Stage
from linetender.core.telling import LONGEST_PAUSE_NS
from linetender.runtime.broker_link import BrokerLink
from linetender.runtime.far_ends import wanted_by_station
from linetender.runtime.inbox import Inbox
from linetender.runtime.incoming import Incoming, Received, Reception
from linetender.runtime.remote_commands import NOT_AUTHORISED, CommandGuard, RemoteCommands
from linetender.runtime.telling import Teller
from linetender.settings.station_file import StationBroker
from link_waiting import wait_for
from mosquitto_broker import PASSWORD, MosquittoBroker
from runtime.test_far_ends import StandingClock

RUN = "0a1b2c3d"
TOP = "linetender/shed"
SAMPLES = Path(__file__).resolve().parents[2] / "config" / "broker"
# An invented station.
RULE = RulePlan(
    "air_lost",
    Below(Signal.AIR_PERCENT_OF_BASELINE, 65.0),
    Priority.HIGH,
    0,
    0,
    (Stage.WORN,),
    killer=True,
)
PLAN = Plan("shed", Arrangement.WEARER_SIDE, None, (), (), (RULE,))


def snapshot(state: AlarmState | None = None) -> Snapshot:
    views = () if state is None else (AlarmView("air_lost", state, Priority.HIGH, 0, 4, "Air."),)
    return Snapshot(0, Stage.IDLE, 4, (), views, Demand(), False, None)


class Ears:
    """The commands of a station after its 100th heartbeat."""

    def __init__(self, reason: int | None = NOT_AUTHORISED, refusal: str | None = None) -> None:
        self.said: list[tuple[str, Any]] = []
        self.inbox = Inbox(StandingClock())
        self.guard = CommandGuard("shed")
        self.teller = Teller(PLAN, RUN, self._publish)
        for second in range(100):
            self.teller.alive(second * 1_000_000_000, snapshot())
        self.said.clear()
        if reason is not None:
            self.guard.answered(f"{TOP}/command/_self", reason)
        self.commands = RemoteCommands(
            PLAN, self.guard, self.teller, self.inbox, self._publish, lambda _: refusal
        )

    def _publish(self, topic: str, payload: bytes, **_: Any) -> None:
        self.said.append((topic, json.loads(payload)))

    def take(
        self,
        payload: bytes,
        user: str = "ann",
        now: Snapshot | None = None,
        retained: bool = False,
    ) -> list[Input]:
        received = Received(f"{TOP}/command/{user}", payload, retained)
        self.commands.take(received, now or snapshot(), 7)
        return list(self.inbox.take())


def order(verb: str, count: int = 1, **changes: Any) -> bytes:
    fields = {"run": RUN, "heard": 100, "from": "phone1", "count": count, "shown": 3}
    return json.dumps({**fields, "verb": verb, **changes}).encode()


@pytest.mark.parametrize(
    ("verb", "pause_ns"),
    [("acknowledge", 0), ("pause_sound", LONGEST_PAUSE_NS), ("reset", 0), ("start", 0)],
)
def test_a_command_is_done_in_its_users_name_and_answered(verb: str, pause_ns: int) -> None:
    ears = Ears()
    assert ears.take(order(verb)) == [Command(7, Verb(verb), By.REMOTE, 3, pause_ns, source="ann")]
    assert ears.said == [(f"{TOP}/reply/ann", {"count": 1, "ok": True, "why": "", "v": 1})]


@pytest.mark.parametrize("verb", ["help", "service"])
def test_what_cannot_be_asked_for_from_afar(verb: str) -> None:
    ears = Ears()
    assert ears.take(order(verb)) == []
    assert ears.said[0][1]["why"] == f"{verb} cannot be asked for from afar"


def test_what_the_core_refuses_is_told_and_not_done() -> None:
    ears = Ears(refusal="nothing waits for an answer")
    assert ears.take(order("acknowledge")) == []
    assert ears.said[0][1] == {
        "count": 1,
        "ok": False,
        "why": "nothing waits for an answer",
        "v": 1,
    }


@pytest.mark.parametrize("verb", ["end", "out", "reset"])
@pytest.mark.parametrize(
    "state", [AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED, AlarmState.LATCHED]
)
def test_what_can_kill_is_never_ended_from_afar(verb: str, state: AlarmState) -> None:
    ears = Ears()
    assert ears.take(order(verb), now=snapshot(state)) == []
    assert "the wearer's alone" in ears.said[0][1]["why"]


@pytest.mark.parametrize("reason", [None, 0, 16, 128, 151])
def test_without_a_broker_that_guards_them_none_is_taken(reason: int | None) -> None:
    ears = Ears(reason)
    assert (ears.take(order("acknowledge")), ears.said) == ([], [])


def test_a_broker_that_does_not_guard_them_is_told_once() -> None:
    ears = Ears(0)
    for _ in range(3):
        ears.commands.look()
    detail = "the broker lets anybody write commands: they stay off"
    assert ears.inbox.take() == [Fact(7, "commands_unguarded", True, "broker", detail)]


def test_nobody_is_no_user() -> None:
    assert Ears().take(order("acknowledge"), user="_self") == []


def test_ten_thousand_that_do_not_count_change_nothing_and_fill_no_log(
    caplog: pytest.LogCaptureFixture,
) -> None:
    ears = Ears()
    assert ears.take(order("acknowledge"))
    ears.said.clear()
    caplog.clear()
    with caplog.at_level(logging.DEBUG):
        for number in range(2_000):
            count = number + 2
            taken = [
                ears.take(order("acknowledge")),  # replayed
                ears.take(order("end", count, heard=94 - number % 90)),  # stale
                ears.take(order("end", count), retained=True),
                ears.take(order("end", count, more="x" * 2_000)),  # oversized
                ears.take(order("end", count)[: number % 80]),  # garbled
            ]
            assert taken == [[]] * 5
    assert ears.said == []
    assert ears.commands.refusals.counts == {
        Refusal.REPEATED: 2_000,
        Refusal.STALE: 2_000,
        Refusal.RETAINED: 2_000,
        Refusal.TOO_LARGE: 2_000,
        Refusal.GARBLED: 2_000,
    }
    assert len(caplog.records) == 5 * 4  # the 1st, 10th, 100th and 1000th of each kind


class RealEars:
    """The same, behind a real link."""

    def __init__(self, folder: Path, port: int, **more: Any) -> None:
        (folder / "secret").write_text(PASSWORD)
        login: dict[str, Any] = {"user": "shed", "password_file": "secret", **more}
        settings = StationBroker(host="127.0.0.1", port=port, commands=True, **login)
        topics = Topics("shed")
        self.incoming = Incoming()
        self.guard = CommandGuard("shed")
        reception = Reception(
            wanted_by_station(topics, commands=True),
            self.incoming.put,
            self.guard.answered,
            self.guard.connected,
            frozenset({topics.forbidden_command}),
        )
        self.link = BrokerLink(
            settings, "shed", StandingClock(), folder=folder, reception=reception
        )
        teller = Teller(PLAN, RUN, self.link.publish)
        for second in range(100):
            teller.alive(second * 1_000_000_000, snapshot())
        self.inbox = Inbox(StandingClock())
        self.commands = RemoteCommands(
            PLAN, self.guard, teller, self.inbox, self.link.publish, lambda _: None
        )

    async def answered(self) -> None:
        self.guard.try_it(self.link.publish)
        await until(lambda: self.guard.is_guarded is not None)

    def hear(self) -> None:
        for received in self.incoming.take():
            self.commands.take(received, snapshot(), 7)


async def until(holds: Callable[[], bool]) -> None:
    for _ in range(1_000):
        if holds():
            return
        await asyncio.sleep(0.02)
    pytest.fail("not in time")


def broker_with(folder: Path, acl: str) -> MosquittoBroker:
    (folder / "acl").write_text(acl)
    lines = f"allow_anonymous false\npassword_file {folder / 'linetender.passwords'}\n"
    return MosquittoBroker(folder, f"{lines}acl_file {folder / 'acl'}\n", ("shed", "ann"))


async def send_all_kinds(broker: MosquittoBroker, ears: RealEars) -> None:
    """Five that do not count, one in another's name, and one that counts."""
    ann = ("ann", PASSWORD)
    ears.link.start()
    await ears.answered()
    assert ears.guard.is_guarded is True
    assert ears.link.state().refused == 0
    topic, bo = f"{TOP}/command/ann", f"{TOP}/command/bo"
    bad = [
        (topic, order("end", 5).decode(), True),
        (topic, order("end", 5, heard=1).decode(), False),
        (topic, order("end", 5, more="x" * 2_000).decode(), False),
        (topic, "garbled", False),
    ]
    for where, payload, kept in bad:
        await asyncio.to_thread(broker.publish, where, payload, retain=kept, login=ann)
    forged = await asyncio.to_thread(broker.publish, bo, order("end").decode(), login=ann)
    assert "Not authorized" in forged
    true = order("acknowledge", 6).decode()
    for _ in range(2):
        await asyncio.to_thread(broker.publish, topic, true, login=ann)
    counts = ears.commands.refusals.counts
    await until(lambda: (ears.hear(), counts[Refusal.REPEATED] == 1)[1])
    assert ears.inbox.take() == [Command(7, Verb.ACKNOWLEDGE, By.REMOTE, 3, source="ann")]
    assert counts == {
        Refusal.RETAINED: 1,
        Refusal.STALE: 1,
        Refusal.TOO_LARGE: 1,
        Refusal.GARBLED: 1,
        Refusal.REPEATED: 1,
    }


@pytest.mark.broker
def test_with_the_shipped_access_list_only_a_true_command_in_ones_own_name_is_taken(
    tmp_path: Path,
) -> None:
    broker = broker_with(tmp_path, (SAMPLES / "acl").read_text(encoding="utf-8"))
    broker.start()
    ears = RealEars(tmp_path, broker.port)

    try:
        asyncio.run(send_all_kinds(broker, ears))
    finally:
        ears.link.stop(0.5)
        broker.stop()


@pytest.mark.broker
def test_a_list_that_lets_anybody_write_commands_leaves_them_off(tmp_path: Path) -> None:
    broker = broker_with(tmp_path, "pattern readwrite #\n")
    broker.start()
    ears = RealEars(tmp_path, broker.port)
    try:
        ears.link.start()
        wait_for(ears.link, lambda state: state.connected)
        asyncio.run(ears.answered())
        assert ears.guard.is_guarded is False
        broker.publish(f"{TOP}/command/ann", order("end").decode(), login=("ann", PASSWORD))
        ears.hear()
        assert ears.inbox.take() == []
    finally:
        ears.link.stop(0.5)
        broker.stop()


@pytest.mark.broker
def test_a_broker_that_comes_back_with_another_list_is_tried_again(tmp_path: Path) -> None:
    broker = broker_with(tmp_path, (SAMPLES / "acl").read_text(encoding="utf-8"))
    broker.start()
    ears = RealEars(tmp_path, broker.port)
    try:
        ears.link.start()
        asyncio.run(ears.answered())
        assert ears.guard.is_guarded is True
        broker.kill()
        (tmp_path / "acl").write_text("pattern readwrite #\n")
        broker.start()
        asyncio.run(until(lambda: ears.guard.is_guarded is False))
    finally:
        ears.link.stop(0.5)
        broker.stop()
