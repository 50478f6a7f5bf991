"""The whole station in virtual time, with a fault at every seam.

Each session is recorded and replayed: live and replay must say the same.
"""

import errno
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest

from linetender.core.carryover import Carryover
from linetender.core.events import Event
from linetender.core.snapshot import Snapshot
from linetender.recording.replay import replay_file
from linetender.recording.writer import RecordingWriter
from linetender.runtime.supervisor import LONGEST_BACKOFF_S
from linetender.simulation.devices import AIR_SENSOR_ADDRESS, Rig
from linetender_drivers.simulated.i2c_bus import BusFault, FaultKind
from linetender_drivers.simulated.machine import SIMULATED
from linetender_drivers.simulated.plx_peer import PeerState
from runtime.demo_sessions import (
    BUZZER_GPIO,
    GREEN_GPIO,
    ORDINARY,
    RED_GPIO,
    WORN_S,
    Deed,
    Hand,
    Played,
    S,
    play,
)

PINS = (BUZZER_GPIO, GREEN_GPIO, RED_GPIO)
FAULT_S, OVER_S, FAN_STOPS_S, END_S = 30.0, 72.0, 100.0, 110.0
AIR_LOST = ("air_lost", "unacknowledged", 103.2)
AIR_LOST_ALONE = [AIR_LOST, ("air_falling", "suppressed_by_design", 105.6)]
"""What a session without a fault says when the fan stops."""


def replays(record: Path) -> int:
    """Assert that a recording replays exactly; return how many events it holds."""
    outcome = replay_file(record)
    assert (outcome.differences, outcome.tail, outcome.ended) == ((), None, True)
    return outcome.events


def session(deeds: tuple[Deed, ...], record: Path, end_s: float = END_S) -> Played:
    played = play((*ORDINARY, *deeds), end_s, record=record)
    assert replays(record) == len(played.events)
    return played


def on_the_bus(kind: FaultKind) -> Callable[[Hand], None]:
    fault = BusFault(
        kind, AIR_SENSOR_ADDRESS, from_ns=round(FAULT_S * S), until_ns=round(OVER_S * S)
    )
    return lambda hand: hand.rig.machine.buses[SIMULATED].faults.append(fault)


def the_oximeter(state: PeerState) -> Callable[[Hand], None]:
    def change(hand: Hand) -> None:
        hand.rig.oximeter.state = state

    return change


def test_without_a_fault_only_the_fan_is_told(tmp_path: Path) -> None:
    played = session(((FAN_STOPS_S, Hand.fan_stop),), tmp_path / "s.jsonl")
    assert played.alarms() == AIR_LOST_ALONE
    assert played.sounded_s(FAN_STOPS_S) == pytest.approx(103.2, abs=0.05)


SILENCING = [kind for kind in FaultKind if kind is not FaultKind.FROZEN]


@pytest.mark.parametrize("kind", SILENCING)
def test_a_sensor_that_gives_nothing(kind: FaultKind, tmp_path: Path) -> None:
    played = session(
        ((FAULT_S - 1, on_the_bus(kind)), (FAN_STOPS_S, Hand.fan_stop)), tmp_path / "s.jsonl"
    )
    (raised, over), rest = played.alarms()[:2], played.alarms()[2:]
    assert raised == ("air_invalid", "unacknowledged", 33.0)
    assert over[:2] == ("air_invalid", "returned_unacknowledged")
    # Back-off, opening with its time limits, then 5 s of good readings.
    hangs_s = 7.0 if kind is FaultKind.NEVER_RETURNS else 2.0
    assert OVER_S + 5 < over[2] < OVER_S + LONGEST_BACKOFF_S + hangs_s + 5
    assert rest == AIR_LOST_ALONE
    blind = [view for view in played.snapshots if FAULT_S + 1 <= view.now_ns / S < OVER_S]
    assert {air_of(view) for view in blind} == {None}


def air_of(snapshot: Snapshot) -> float | None:
    return next(view.value for view in snapshot.signals if view.signal == "hood_pressure_pa")


def test_a_frozen_sensor(tmp_path: Path) -> None:
    played = session(
        ((FAULT_S - 1, on_the_bus(FaultKind.FROZEN)), (FAN_STOPS_S, Hand.fan_stop)),
        tmp_path / "s.jsonl",
    )
    assert played.alarms()[:2] == [
        ("air_stuck", "unacknowledged", 60.0),
        ("air_stuck", "returned_unacknowledged", 82.0),
    ]
    rule, state, raised_s = played.alarms()[2]
    assert (rule, state) == AIR_LOST[:2]
    assert raised_s < FAN_STOPS_S + 5


@pytest.mark.parametrize("state", [PeerState.FINGER_OUT, PeerState.OUT_OF_RANGE, PeerState.SILENT])
def test_an_oximeter_that_gives_nothing_and_comes_back(state: PeerState, tmp_path: Path) -> None:
    played = session(
        (
            (FAULT_S, the_oximeter(state)),
            (80.0, the_oximeter(PeerState.WORN)),
            (FAN_STOPS_S, Hand.fan_stop),
        ),
        tmp_path / "s.jsonl",
    )
    (raised, over), rest = played.alarms()[:2], played.alarms()[2:]
    assert raised == ("spo2_invalid", "unacknowledged", 59.5)  # 30 s after the last good one
    assert over[:2] == ("spo2_invalid", "returned_unacknowledged")
    assert 90 < over[2] < 90 + LONGEST_BACKOFF_S + 2
    assert rest == AIR_LOST_ALONE


def test_all_blind_while_worn_is_leave_within_ten_seconds(tmp_path: Path) -> None:
    def unplug(hand: Hand) -> None:
        hand.rig.oximeter.state = PeerState.OUT_OF_RANGE
        on_the_bus(FaultKind.NACK)(hand)

    played = session(((FAULT_S, unplug),), tmp_path / "s.jsonl", 60.0)
    told = [alarm for alarm in played.alarms() if alarm[1] == "unacknowledged"]
    assert told == [("air_invalid", "unacknowledged", 33.0), ("blind", "unacknowledged", 40.0)]
    assert played.sounded_s(39.9) == pytest.approx(40.0, abs=0.05)


def test_a_sensor_unplugged_at_the_start_is_an_alarm_and_comes_when_plugged(
    tmp_path: Path,
) -> None:
    def unplug(rig: Rig) -> None:
        fault = BusFault(FaultKind.NACK, AIR_SENSOR_ADDRESS, until_ns=20 * S)
        rig.machine.buses[SIMULATED].faults.append(fault)

    record = tmp_path / "s.jsonl"
    played = play(ORDINARY, 40.0, record=record, prepare=unplug)
    replays(record)
    assert [alarm[:2] for alarm in played.alarms()] == [
        ("air_invalid", "unacknowledged"),
        ("air_invalid", "returned_unacknowledged"),
    ]
    assert air_of(played.snapshots[-1]) == pytest.approx(60, rel=0.2)


def test_a_bus_that_hangs_at_the_start_holds_nothing_up(tmp_path: Path) -> None:
    def hang(rig: Rig) -> None:
        fault = BusFault(FaultKind.NEVER_RETURNS, AIR_SENSOR_ADDRESS)
        rig.machine.buses[SIMULATED].faults.append(fault)

    played = play(ORDINARY, 40.0, prepare=hang)
    assert played.alarms()[0] == ("air_invalid", "unacknowledged", WORN_S + 3)
    assert played.sounded_s(0) == WORN_S + 3


# Recording


class FullDisk:
    """A disk with one file that is full after some pieces, and stays full."""

    def __init__(self, pieces: int) -> None:
        self._left = pieces

    def begin(self, path: Path) -> "FullDisk":
        return self

    def probe(self, path: Path) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    def append(self, piece: bytes) -> None:
        self._left -= 1
        if self._left < 0:
            raise OSError(errno.ENOSPC, "No space left on device")

    def sync(self) -> None:
        pass

    def close(self) -> None:
        pass


def test_a_full_disk_is_told_and_the_air_alarm_is_as_ever() -> None:
    recorder = RecordingWriter("s.jsonl", storage=FullDisk(5))
    played = play((*ORDINARY, (FAN_STOPS_S, Hand.fan_stop)), END_S, recorder=recorder)
    storage, *rest = played.alarms()
    assert storage[:2] == ("storage_failed", "unacknowledged")
    assert 30 <= storage[2] < FAN_STOPS_S
    assert rest == AIR_LOST_ALONE
    assert recorder.fault == "s.jsonl: no space left on device; recording stopped"


def facts_in(record: Path) -> list[tuple[float, str, bool]]:
    lines = [msgspec.json.decode(line) for line in record.read_bytes().splitlines()]
    return [
        (line["arrived_ns"] / S, line["fact"], line["active"])
        for line in lines
        if line.get("is") == "fact"
    ]


def test_what_the_station_notices_of_itself_is_told_and_said_again(tmp_path: Path) -> None:
    record = tmp_path / "s.jsonl"
    play(ORDINARY, 51.0, record=record, broker_connected=lambda: False, minds_time_of_day=True)
    replays(record)
    unsynchronised = [(at_s, "clock_unsynchronised", True) for at_s in (0, 9, 19, 29, 39, 49)]
    lost = [(at_s, "broker_lost", True) for at_s in (30, 39, 49)]
    begun_s = 0.023  # the air sensor's opening
    assert facts_in(record) == [
        (round(at_s + begun_s, 3), fact, active)
        for at_s, fact, active in sorted([*unsynchronised, *lost], key=lambda one: one[0])
    ]


class Keeper:
    """Keeps states in memory."""

    fault = ""

    def __init__(self) -> None:
        self.kept: list[Carryover] = []

    def keep(self, carryover: Carryover, events: tuple[Event, ...] = (), told_ns: int = 0) -> None:
        self.kept.append(carryover)

    def close(self, within_s: float = 2.0) -> None:
        """Nothing to close."""


def test_the_state_is_kept_at_each_event_and_each_minute_and_at_the_end() -> None:
    keeper = Keeper()
    played = play(ORDINARY, 150.0, keeper=keeper)
    assert len(played.events) == 4  # each by an input of its own: worn, three baselines
    assert len(keeper.kept) == 4 + 2 + 1
    assert keeper.kept[-1] == played.live.watch.carryover()


# The end


def test_a_stop_in_the_middle_of_an_alarm_leaves_every_pin_low_and_free() -> None:
    played = play((*ORDINARY, (20.0, Hand.fan_stop), (26.0, lambda hand: hand.live.stop())), 26.0)
    pins = played.machine.simulated_pins
    assert played.sounded_s(20) is not None
    for gpio in PINS:
        assert pins.level(gpio) is False
        pins.output(gpio, safe_high=False)  # would be refused if it were still claimed
    for gpio in (17, 27):
        pins.input(gpio, pull_up=True)


def test_a_stop_does_not_wait_for_a_dead_bus() -> None:
    deeds = (*ORDINARY, (FAULT_S - 1, on_the_bus(FaultKind.NEVER_RETURNS)))
    played = play(deeds, 33.1)  # in the middle of the first beep
    assert played.edges[-1].at_ns == round(33.1 * S)
    assert {played.machine.simulated_pins.level(gpio) for gpio in PINS} == {False}
