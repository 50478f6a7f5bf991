"""The pre-use check on the demo station, by its one button: three presses, and by whom it ends."""

from pathlib import Path

from linetender.core.events import FalseLeave, StageChanged, StepChanged, StepState
from linetender.core.instants import to_seconds
from linetender.core.pre_use import CheckState
from linetender.core.stages import Stage
from linetender.recording.replay import replay_file
from runtime.demo_sessions import BUZZER_GPIO, GREEN_GPIO, RED_GPIO, Deed, Hand, Played, play

START_S, FAN_S, CARD_S = 2.0, 6.0, 32.0
HANDS_ON_S = 60.0
"""What the check may ask of the wearer's hands in all."""


def press(hand: Hand) -> None:
    hand.rig.press("answer")


def release(hand: Hand) -> None:
    hand.rig.release("answer")


def tap(at_s: float) -> tuple[Deed, Deed]:
    return (at_s, press), (at_s + 0.3, release)


def hood_on(hand: Hand) -> None:
    hand.rig.world.hood_on(hand.now_ns)


CARD: tuple[Deed, ...] = (*tap(START_S), (FAN_S, Hand.fan_start), (20.0, hood_on), *tap(CARD_S))
"""Two taps; the simulated oximeter reads as soon as somebody is there."""

DRAWN_S = 20


def drawn(least: int, greatest: int) -> int:
    assert least <= DRAWN_S <= greatest
    return DRAWN_S


def steps(played: Played) -> dict[str, tuple[str, str]]:
    """Return the last state of each step, and why."""
    return {
        event.step: (event.state.value, event.why)
        for event in played.events
        if isinstance(event, StepChanged)
    }


def instant_s(played: Played, step: str, state: StepState, why: str = "") -> float:
    return next(
        to_seconds(event.due_ns)
        for event in played.events
        if isinstance(event, StepChanged)
        and (event.step, event.state) == (step, state)
        and event.why.startswith(why)
    )


def pulses(played: Played, gpio: int, from_s: float, until_s: float) -> int:
    return sum(
        edge.high and from_s <= to_seconds(edge.at_ns) < until_s
        for edge in played.edges
        if edge.gpio == gpio
    )


def test_three_presses_and_a_tap_to_wear(tmp_path: Path) -> None:
    first = play(CARD, 200.0, draw=drawn)
    hood_s = instant_s(first, "heard", StepState.WAITING, "hood on")
    sound_s = first.sounded_s(hood_s + 5.0)
    assert sound_s is not None
    assert DRAWN_S <= sound_s - hood_s <= DRAWN_S + 2

    played = play((*CARD, *tap(sound_s + 2.0), *tap(sound_s + 8.0)), sound_s + 12.0, draw=drawn)
    assert steps(played) == {
        "checklist": ("met", "button"),
        "zero": ("met", ""),
        "air": ("met", ""),
        "purge": ("met", ""),
        "spo2_percent": ("met", ""),
        "pulse_rate_bpm": ("met", ""),
        "lamp": ("met", "button"),
        "heard": ("met", "button"),
        "check": ("met", "32 s hands-on"),
    }
    stages = [(e.after, e.why) for e in played.events if isinstance(e, StageChanged)]
    assert stages == [(Stage.PRE_USE, "button"), (Stage.WORN, "button")]
    assert played.live.snapshot().check.state is CheckState.PASSED
    hands_on_s = (CARD_S - START_S) + 2.0
    assert hands_on_s <= HANDS_ON_S
    # What is heard and seen: flashes, two chirps, half a HIGH burst, four chirps.
    assert pulses(played, RED_GPIO, START_S, CARD_S) >= 10
    assert pulses(played, BUZZER_GPIO, 0.0, hood_s) == 0
    assert pulses(played, BUZZER_GPIO, hood_s, hood_s + 5.0) == 2
    assert pulses(played, BUZZER_GPIO, sound_s - 1.0, sound_s + 1.9) == 5
    assert pulses(played, BUZZER_GPIO, sound_s + 2.0, sound_s + 8.0) == 4


def test_a_sound_that_nobody_hears_comes_again_until_the_check_is_refused() -> None:
    played = play(CARD, 400.0, draw=drawn)
    assert steps(played)["heard"] == ("failed", "not done in time")
    refused_s = instant_s(played, "check", StepState.FAILED)
    hood_s = instant_s(played, "heard", StepState.WAITING, "hood on")
    assert round(refused_s - hood_s, 3) == 180.0
    # Code 2-2, every few seconds for half a minute, at the sounder and at the green lamp.
    assert pulses(played, BUZZER_GPIO, refused_s, refused_s + 2.6) == 4
    assert 16 <= pulses(played, GREEN_GPIO, refused_s, refused_s + 30.0) <= 24
    # Refused, and then evidently worn: not checked, and watched all the same.
    last = played.live.snapshot()
    assert (last.stage, last.check.state) == (Stage.WORN, CheckState.REFUSED)
    assert last.air_armed


def test_a_replay_needs_no_chance(tmp_path: Path) -> None:
    """The instant that was drawn is an input like any other."""
    path = tmp_path / "check.jsonl"
    played = play(CARD, 220.0, record=path)
    assert any(isinstance(event, StepChanged) for event in played.events)
    assert replay_file(path).differing == 0


def test_after_the_end_one_tap_marks_the_last_leave_as_false() -> None:
    deeds: tuple[Deed, ...] = (
        (0.0, Hand.fan_start),
        (10.0, Hand.start),
        (30.0, Hand.fan_stop),
        *tap(45.0),
        *tap(47.0),
        *tap(52.0),
        *tap(60.0),
    )
    played = play(deeds, 100.0)
    (mark,) = [event for event in played.events if isinstance(event, FalseLeave)]
    assert (mark.rule, round(to_seconds(mark.due_ns), 1)) == ("air_lost", 60.0)
    # The lamp asks by blinking fast for half a minute, or until the tap.
    assert pulses(played, GREEN_GPIO, 54.0, 59.0) >= 15
    assert pulses(played, GREEN_GPIO, 62.0, 67.0) <= 6
