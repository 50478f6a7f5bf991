"""What a second box makes of one station, instant by instant."""

import pytest

from linetender.annunciation.far_payloads import Role
from linetender.annunciation.payloads import AlarmSummary, Alive, State
from linetender.core.alarm_table import AlarmState
from linetender.core.events import Sound
from linetender.core.stages import Priority, Stage
from linetender.far_end.remote_watch import Remembered, RemoteWatch, Silence, Wants

S = 1_000_000_000
RUN = "0a1b2c3d"
SOUNDS, ANSWERED = AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED


def alive(seq: int, stage: Stage = Stage.WORN, far: Sound = Sound.SILENT, run: str = RUN) -> Alive:
    return Alive(run, seq, stage, 0, far)


def state(
    seq: int,
    stage: Stage = Stage.WORN,
    far: Sound = Sound.SILENT,
    *alarms: tuple[int, AlarmState],
    run: str = RUN,
) -> State:
    listed = tuple(
        AlarmSummary("air_lost", n, how, Priority.HIGH, "Air lost. Leave.") for n, how in alarms
    )
    return State(run, seq, "2031-01-02T03:04:05+00:00", True, stage, {}, listed, far)


def watch(role: Role = Role.WEARER, remembered: Remembered | None = None) -> RemoteWatch:
    return RemoteWatch("shed", role, 0, remembered)


def heard(stage: Stage, role: Role = Role.WEARER, far: Sound = Sound.SILENT) -> RemoteWatch:
    """A station last heard at 100 s."""
    made = watch(role)
    made.hear_alive(100 * S, alive(1, stage, far), retained=False)
    return made


@pytest.mark.parametrize(
    ("role", "look_s", "leave_s"), [(Role.WEARER, 4, 10), (Role.ATTENDANT, 20, 60)]
)
@pytest.mark.parametrize("stage", [Stage.PRE_USE, Stage.WORN])
def test_silence_in_use_sounds_in_time_for_the_role(
    stage: Stage, role: Role, look_s: int, leave_s: int
) -> None:
    station = heard(stage, role)
    instants = [0, look_s * S - 1, look_s * S, leave_s * S - 1, leave_s * S, 3600 * S]
    sounds = [station.wants(100 * S + after) for after in instants]
    assert [(one.sound, one.is_failure) for one in sounds] == [
        (Sound.SILENT, False),
        (Sound.SILENT, False),
        (Sound.MEDIUM, True),
        (Sound.MEDIUM, True),
        (Sound.HIGH, True),
        (Sound.HIGH, True),
    ]
    assert station.next_change(100 * S) == (100 + look_s) * S
    assert station.next_change((100 + look_s) * S) == (100 + leave_s) * S
    assert station.next_change((100 + leave_s) * S) is None


@pytest.mark.parametrize("stage", [Stage.IDLE, Stage.SERVICE])
def test_silence_out_of_use_never_sounds_unless_an_alarm_was_sounding(stage: Stage) -> None:
    assert heard(stage).wants(10_000 * S) == Wants()
    assert heard(stage, far=Sound.MEDIUM).wants(110 * S).is_failure


def test_a_station_that_never_was_heard_does_not_sound() -> None:
    station = watch()
    assert (station.wants(10_000 * S), station.remembered) == (Wants(), None)


def test_what_was_kept_sets_stage_and_alarms_and_never_age() -> None:
    station = watch()
    station.hear_state(5 * S, state(1, Stage.WORN))
    station.hear_alive(12 * S, alive(7), retained=True)
    station.hear_state(13 * S, state(2, Stage.WORN))
    assert [station.silence(at * S) for at in (8, 9, 15)] == [
        Silence.NONE,
        Silence.LOOK,
        Silence.LEAVE,
    ]


def test_a_heartbeat_that_comes_again_or_of_a_run_that_is_over_shows_no_life() -> None:
    station = watch()
    for at, beat in [
        (0, alive(5)),
        (1, alive(6)),
        (2, alive(1, run="ffffffff")),
        (5, alive(6)),
        (7, alive(900)),
        (8, alive(1, run="ffffffff")),
    ]:
        station.hear_alive(at * S, beat, retained=False)
    assert (station.run, station.beat) == ("ffffffff", 1)
    assert station.silence(12 * S) is Silence.LEAVE


@pytest.mark.parametrize(
    ("remembered", "expected"),
    [
        (Remembered(RUN, 4, Stage.WORN, False), Silence.LEAVE),
        (Remembered(RUN, 4, Stage.IDLE, True), Silence.LEAVE),
        (Remembered(RUN, 4, Stage.IDLE, False), Silence.NONE),
    ],
)
def test_a_restarted_box_that_hears_nothing_counts_as_having_heard(
    remembered: Remembered, expected: Silence
) -> None:
    station = watch(Role.WEARER, remembered)
    assert station.silence(10 * S - 1) <= Silence.LOOK
    assert station.silence(10 * S) is expected
    assert station.remembered == remembered


def test_it_sounds_what_the_station_asks_with_its_words() -> None:
    station = heard(Stage.WORN)
    station.hear_state(101 * S, state(1, Stage.WORN, Sound.HIGH, (3, SOUNDS)))
    wants = Wants(Sound.HIGH, False, Priority.HIGH, "air_lost", "shed: Air lost. Leave.")
    assert station.wants(101 * S) == wants
    station.hear_state(102 * S, state(2, Stage.WORN, Sound.SILENT, (4, ANSWERED)))
    assert station.wants(102 * S) == Wants(light=Priority.HIGH)


def test_a_press_quiets_what_was_heard_for_a_while_and_nothing_newer() -> None:
    station = heard(Stage.WORN)
    station.hear_state(101 * S, state(1, Stage.WORN, Sound.HIGH, (3, SOUNDS)))
    assert (station.shown(101 * S + S // 10), station.shown(101 * S + S // 2)) == (0, 3)
    station.answer(102 * S)
    for second in range(102, 118):
        station.hear_alive(second * S, alive(second, Stage.WORN, Sound.HIGH), retained=False)
        expected = Sound.SILENT if second < 117 else Sound.HIGH
        assert station.wants(second * S).sound is expected
    station.answer(118 * S)
    station.hear_state(119 * S, state(2, Stage.WORN, Sound.HIGH, (3, SOUNDS), (5, SOUNDS)))
    assert station.wants(119 * S).sound is Sound.HIGH


def test_a_press_too_early_to_have_heard_it_quiets_nothing() -> None:
    station = heard(Stage.WORN)
    station.hear_state(101 * S, state(1, Stage.WORN, Sound.HIGH, (3, SOUNDS)))
    station.answer(101 * S + S // 10)
    assert station.wants(101 * S + S // 5).sound is Sound.HIGH


def test_an_answered_silence_is_quiet_for_its_time_and_sounds_when_it_gets_worse() -> None:
    station = heard(Stage.WORN)
    station.answer(105 * S)
    sounds = [station.wants(at * S).sound for at in (106, 109, 110, 111)]
    assert sounds == [Sound.SILENT, Sound.SILENT, Sound.HIGH, Sound.HIGH]
    station.answer(112 * S)
    assert [station.wants(at * S).sound for at in (113, 126, 127)] == [
        Sound.SILENT,
        Sound.SILENT,
        Sound.HIGH,
    ]


def test_a_dismissed_silence_stays_so_until_the_station_says_something_new() -> None:
    station = heard(Stage.WORN)
    station.hear_state(100 * S, state(1, Stage.WORN))
    station.dismiss()
    station.hear_state(130 * S, state(1, Stage.WORN))  # kept by the broker, given again
    assert station.wants(1000 * S) == Wants()
    station.hear_alive(1001 * S, alive(2), retained=False)
    assert station.silence(1011 * S) is Silence.LEAVE


def test_the_standing_alarm_of_a_dead_station_sounds_on_and_then_its_silence_does() -> None:
    station = heard(Stage.WORN)
    station.hear_state(100 * S, state(1, Stage.WORN, Sound.HIGH, (3, SOUNDS)))
    assert [station.wants(at * S).is_failure for at in (101, 105, 109, 110)] == [
        False,
        False,
        False,
        True,
    ]
