"""A second box as a whole: one button and one sounder for several stations."""

import pytest

from linetender.annunciation.far_payloads import Confirm, Gesture, Role
from linetender.annunciation.patterns import SOUND_PATTERNS
from linetender.annunciation.payloads import AlarmSummary, Alive, State
from linetender.core.alarm_table import AlarmState
from linetender.core.events import Demand, Sound
from linetender.core.stages import Priority, Stage
from linetender.far_end.box import HELP, STATION_SILENT, Box, Pressed
from linetender.far_end.box_sounder import FAILURE_PATTERNS, BoxSounder
from linetender.far_end.remote_watch import RemoteWatch

S = 1_000_000_000


class Bench:
    """A box with a wearer's station "shed" and an attendant's "barn", both worn at 0 s."""

    def __init__(self) -> None:
        self.shed = RemoteWatch("shed", Role.WEARER, 0)
        self.barn = RemoteWatch("barn", Role.ATTENDANT, 0)
        self.box = Box((self.shed, self.barn))
        self.beat(0, self.shed, self.barn)

    def beat(self, second: int, *watches: RemoteWatch) -> None:
        for watch in watches:
            alive = Alive("0a1b2c3d", second + 1, Stage.WORN, 0)
            watch.hear_alive(second * S, alive, retained=False)

    def alarm(self, second: int, watch: RemoteWatch, n: int) -> None:
        listed = AlarmSummary("air_lost", n, AlarmState.UNACKNOWLEDGED, Priority.HIGH, "Air lost.")
        state = State("0a1b2c3d", n, "", True, Stage.WORN, {}, (listed,), Sound.HIGH)
        watch.hear_state(second * S, state)

    def press(self, second: float, length_s: float = 0.1) -> list[Pressed]:
        down_ns, up_ns = round(second * S), round((second + length_s) * S)
        told = [*self.box.button(down_ns, is_down=True)]
        told += self.box.look(up_ns)
        return [*told, *self.box.button(up_ns, is_down=False)]


def test_a_tap_while_nothing_sounds_is_the_wearers() -> None:
    bench = Bench()
    assert bench.press(1) == [Pressed("shed", Gesture.TAP)]
    assert bench.box.demand(2 * S) == Demand()


def test_a_tap_goes_to_what_sounds_and_quiets_it() -> None:
    bench = Bench()
    bench.alarm(1, bench.barn, 1)
    loud = Demand(Sound.HIGH, light=Priority.HIGH, rule="air_lost", say="barn: Air lost.")
    assert bench.box.demand(2 * S) == loud
    assert bench.press(2) == [Pressed("barn", Gesture.TAP)]
    assert bench.box.demand(3 * S) == Demand(light=Priority.HIGH)


def test_a_hold_calls_the_wearers_station_and_sounds_here_at_once_broker_or_not() -> None:
    bench = Bench()
    told = bench.press(20, length_s=2.0)  # both stations have been silent for long
    assert told == [Pressed("shed", Gesture.HOLD)]
    fresh = Box((RemoteWatch("shed", Role.WEARER, 0),))  # never heard a station
    fresh.button(0, is_down=True)
    assert (fresh.next_change(0), fresh.look(2 * S)) == (2 * S, ())
    said = Demand(Sound.HIGH, light=Priority.HIGH, rule=HELP, say="Help is called for.")
    assert fresh.demand(2 * S) == said
    fresh.button(3 * S, is_down=False)
    fresh.button(4 * S, is_down=True)
    assert fresh.demand(4 * S) == Demand()


def test_a_held_button_is_one_press_and_one_call() -> None:
    bench = Bench()
    told = [*bench.box.button(S, is_down=True)]
    for second in range(2, 8):
        told += bench.box.button(second * S, is_down=True)
        told += bench.box.look(second * S)
    assert told == [Pressed("shed", Gesture.TAP), Pressed("shed", Gesture.HOLD)]


def test_silence_leads_over_an_alarm_and_confirms_stop() -> None:
    bench = Bench()
    for second in range(1, 10):
        bench.beat(second, bench.barn)
    bench.alarm(9, bench.barn, 3)
    leading = bench.box.demand(10 * S)
    assert (leading.sound, leading.rule) == (Sound.HIGH, STATION_SILENT)
    assert bench.box.confirms(10 * S, sounder_works=True) == {
        "barn": Confirm("0a1b2c3d", 10, 3, Sound.HIGH)
    }


def test_a_dead_sounder_confirms_no_sound() -> None:
    bench = Bench()
    bench.alarm(1, bench.barn, 3)
    confirms = bench.box.confirms(2 * S, sounder_works=False)
    assert confirms["barn"] == Confirm("0a1b2c3d", 1, 0, Sound.SILENT)


def test_who_is_out_can_say_so_at_the_box_of_a_dead_station() -> None:
    bench = Bench()
    script: list[tuple[float, bool, Sound]] = [
        (11, False, Sound.HIGH),
        (12, True, Sound.SILENT),  # an answer buys 15 s
        (13, True, Sound.SILENT),  # a press in the quiet opens the question
        (15.9, False, Sound.SILENT),
        (17, False, Sound.TICKS),
        (18, True, Sound.SILENT),  # inside: nobody is in there
        (19, False, Sound.SILENT),
    ]
    bench.barn.dismiss()
    for second, presses, expected in script:
        if presses:
            assert bench.press(second) == []
        assert (second, bench.box.demand(round(second * S)).sound) == (second, expected)
    assert bench.box.demand(1000 * S) == Demand()


@pytest.mark.parametrize(
    ("demand", "pattern"),
    [
        (Demand(Sound.HIGH, rule="air_lost"), SOUND_PATTERNS[Sound.HIGH]),
        (Demand(Sound.HIGH, rule=STATION_SILENT), FAILURE_PATTERNS[Sound.HIGH]),
        (Demand(Sound.MEDIUM, rule=STATION_SILENT), FAILURE_PATTERNS[Sound.MEDIUM]),
    ],
)
def test_the_failure_sound_is_told_from_an_alarm(demand: Demand, pattern: object) -> None:
    sounder = BoxSounder()
    sounder.demand(demand, 0)
    edges = []
    for _ in range(2):
        edge = sounder.next_edge()
        assert edge is not None
        edges.append((edge.due_ns, sounder.take(edge.due_ns)))
    assert edges == [(0, True), (pattern.lengths_ns[0], False)]  # type: ignore[attr-defined]
    alarms = {length for one in SOUND_PATTERNS.values() for length in one.lengths_ns}
    failures = {length for one in FAILURE_PATTERNS.values() for length in one.lengths_ns}
    assert min(failures) >= 3 * max(alarms)
