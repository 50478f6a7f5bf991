"""How a run begins: a failure leaves nothing behind, a restart forgets nothing."""

from collections.abc import Callable
from pathlib import Path

import pytest

from linetender.core.carryover import Carryover
from linetender.core.stages import Stage
from linetender.recording.reader import RecordingReader
from linetender.recording.replay import replay_file
from linetender.runtime.live_station import LiveStation
from linetender.simulation.devices import AIR_SENSOR_ADDRESS, Rig
from linetender_drivers.errors import DriverError, FailureReason
from linetender_drivers.simulated.i2c_bus import BusFault, FaultKind
from linetender_drivers.simulated.machine import SIMULATED
from linetender_drivers.simulated.sdp8xx_chip import Sdp8xxChip
from runtime.demo_sessions import (
    BUZZER_GPIO,
    GREEN_GPIO,
    ORDINARY,
    RED_GPIO,
    Hand,
    Played,
    S,
    play,
)


def another_part(rig: Rig) -> None:
    """Put a part of another kind where the air sensor should be."""

    class OtherChip(Sdp8xxChip):
        def read(self, length: int, now_ns: int) -> bytes:
            identifier = bytearray(super().read(length, now_ns))
            identifier[0:3] = bytes.fromhex("0101ec")
            return bytes(identifier)

    rig.machine.buses[SIMULATED].attach(AIR_SENSOR_ADDRESS, OtherChip())


def on_the_bus(kind: FaultKind) -> Callable[[Rig], None]:
    return lambda rig: rig.machine.buses[SIMULATED].faults.append(BusFault(kind))


def taken_output(rig: Rig) -> None:
    rig.machine.simulated_pins.output(RED_GPIO, safe_high=False)


def taken_input(rig: Rig) -> None:
    rig.machine.simulated_pins.input(27, pull_up=True)


STARTS = [
    (another_part, {FailureReason.WRONG_DEVICE, FailureReason.BAD_CRC}, "air"),
    (on_the_bus(FaultKind.FLIPPED_BIT), {FailureReason.BAD_CRC}, "air"),
    (on_the_bus(FaultKind.ZEROS), {FailureReason.BAD_CRC}, "air"),
    (on_the_bus(FaultKind.BUS_ERROR), {FailureReason.BUS_ERROR}, ""),
    (taken_output, {FailureReason.CONFIG}, "GPIO 24"),
    (taken_input, {FailureReason.CONFIG}, "GPIO 27"),
]


@pytest.mark.parametrize(
    ("prepare", "reasons", "device"),
    STARTS,
    ids=["another part", "bad CRC", "zeros", "bus error", "output taken", "input taken"],
)
def test_a_start_that_fails_leaves_nothing_behind(
    prepare: Callable[[Rig], None], reasons: set[FailureReason], device: str, tmp_path: Path
) -> None:
    record = tmp_path / "s.jsonl"
    played: list[Played] = []
    with pytest.raises(DriverError) as failed:
        play(ORDINARY, 5.0, record=record, prepare=prepare, into=played)
    assert failed.value.reason in reasons
    assert device in failed.value.device
    assert not record.exists()
    pins = played[0].machine.simulated_pins
    for gpio in {BUZZER_GPIO, GREEN_GPIO, RED_GPIO} - ({RED_GPIO} if "24" in device else set()):
        assert pins.level(gpio) is False
        pins.output(gpio, safe_high=False)  # would be refused if it were still claimed
    pins.input(17, pull_up=True)
    assert played[0].events == []


def kept_at_the_end_of(played: Played, blind_s: float | None) -> Carryover:
    blind_ns = None if blind_s is None else round(blind_s * S)
    return played.live.watch.carryover().after_restart(blind_ns)


@pytest.mark.parametrize("blind_s", [0.0, 2.0, None])
def test_after_a_restart_an_alarm_sounds_on_from_the_first_instant(
    blind_s: float | None, tmp_path: Path
) -> None:
    before = play((*ORDINARY, (20.0, Hand.fan_stop)), 26.0)
    assert before.live.watch.snapshot().demand.sound.value == "high"
    record = tmp_path / "s.jsonl"
    after = play((), 10.0, record=record, carryover=kept_at_the_end_of(before, blind_s))
    assert after.live.watch.snapshot().stage is Stage.WORN
    assert after.sounded_s(0.0) == 0.0
    assert next(edge for edge in after.edges if edge.gpio == RED_GPIO and edge.high).at_ns == 0
    outcome = replay_file(record)
    assert outcome.differences == ()
    first = next(iter(RecordingReader(record).parts()))
    assert first.carryover is not None  # type: ignore[union-attr]


LOOK_PULSES = 3


def test_after_a_quiet_session_a_restart_says_only_that_there_was_one() -> None:
    before = play(ORDINARY, 30.0)
    after = play(((0.0, Hand.fan_start),), 2.0, carryover=kept_at_the_end_of(before, 1.0))
    assert after.live.watch.snapshot().stage is Stage.WORN
    assert [rule for rule, _, _ in after.alarms()] == ["resumed"]
    sounded = [edge for edge in after.edges if edge.gpio == BUZZER_GPIO and edge.high]
    assert len(sounded) == LOOK_PULSES


def test_an_alarm_that_was_told_and_over_is_not_sounded_again_by_a_restart() -> None:
    def crush(fraction: float) -> Callable[[Hand], None]:
        return lambda hand: hand.rig.world.crush(hand.now_ns, fraction)

    deeds = (*ORDINARY, (20.0, crush(0.5)), (32.0, crush(0.0)))
    before = play(deeds, 60.0)
    assert {rule for rule, after, _ in before.alarms() if after == "unacknowledged"} == {
        "air_falling"
    }
    after = play(((0.0, Hand.fan_start),), 2.0, carryover=kept_at_the_end_of(before, 1.0))
    assert [rule for rule, _, _ in after.alarms()] == ["resumed"]


def test_a_stop_before_the_start_is_a_stop(tmp_path: Path) -> None:
    record = tmp_path / "s.jsonl"
    played = play(((0.0, lambda hand: hand.live.stop()),), 0.0, record=record)
    assert played.events == []
    assert replay_file(record).differences == ()
    assert isinstance(played.live, LiveStation)
