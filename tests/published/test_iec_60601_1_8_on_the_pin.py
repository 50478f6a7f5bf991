"""What the pins of a whole live station do, edge by edge, against IEC 60601-1-8's windows.

Source: as in `test_iec_60601_1_8_patterns.py`, which checks the patterns by themselves
(Tables 2, 3 and 4 as public notes quote them, pulse lengths and spacings from memory).
Here sensor, core, scheduler and output take part, in virtual time. The failure sound may
be no standard pattern and should last 120 s (A.2, 6.3.3.1, as public notes give it).
A design reference: no conformity is claimed.
"""

from itertools import pairwise
from pathlib import Path

from far_end.test_station_and_box import BUZZER, ORDINARY, Both
from linetender_drivers.simulated.pins import OutputEdge
from linetender_drivers.simulated.plx_peer import PeerState
from runtime.demo_sessions import BUZZER_GPIO, RED_GPIO, Hand, play
from runtime.demo_sessions import ORDINARY as ORDINARY_DAY

S = 1_000_000_000
FAULT_S = 30.0


def on_and_off_ms(edges: list[OutputEdge], gpio: int, from_s: float) -> list[tuple[float, float]]:
    """Return each pulse with the silence after it (ms); the last pulse is left out."""
    seen = [edge for edge in edges if edge.gpio == gpio and edge.at_ns >= from_s * S]
    seen = seen[0 if seen[0].high else 1 :]  # the end of a pulse that began before
    assert [edge.high for edge in seen] == [index % 2 == 0 for index in range(len(seen))]
    widths = [(later.at_ns - edge.at_ns) / 1e6 for edge, later in pairwise(seen)]
    return list(zip(widths[::2], widths[1::2], strict=False))


def bursts(pulses: list[tuple[float, float]]) -> list[list[tuple[float, float]]]:
    """Part pulses at silences of 2.5 s and more, the shortest interval between bursts."""
    parted: list[list[tuple[float, float]]] = [[]]
    for pulse in pulses:
        parted[-1].append(pulse)
        if pulse[1] >= 2_500:
            parted.append([])
    return [burst for burst in parted[:-1] if burst]


def test_high_as_the_fan_stops_and_nobody_answers() -> None:
    played = play((*ORDINARY_DAY, (FAULT_S, Hand.fan_stop)), 120.0)
    made = bursts(on_and_off_ms(played.edges, BUZZER_GPIO, FAULT_S))
    assert len(made) > 10
    for burst in made:
        assert len(burst) == 10
        length, spacing = burst[0]
        assert 75 <= length <= 200
        assert 50 <= spacing <= 125
        assert {pulse for pulse, _ in burst} == {length}
        gaps = [gap for _, gap in burst]
        assert gaps[:2] == gaps[5:7] == [spacing, spacing]
        assert gaps[2] == gaps[7] == 2 * spacing + length
        assert gaps[3] == gaps[8] == spacing
        assert 350 <= gaps[4] <= 1_300
        assert 2_500 <= gaps[9] <= 15_000
    flashes = on_and_off_ms(played.edges, RED_GPIO, FAULT_S)
    assert len(flashes) > 100
    for on_ms, off_ms in flashes:
        assert 1.4 <= 1_000 / (on_ms + off_ms) <= 2.8
        assert 0.2 <= on_ms / (on_ms + off_ms) <= 0.6


def test_medium_as_the_oximeter_falls_silent() -> None:
    def take_off(hand: Hand) -> None:
        hand.rig.oximeter.state = PeerState.FINGER_OUT

    played = play((*ORDINARY_DAY, (FAULT_S, take_off)), 180.0)
    made = bursts(on_and_off_ms(played.edges, BUZZER_GPIO, FAULT_S))
    assert len(made) > 8
    for burst in made:
        assert len(burst) == 3
        assert all(125 <= pulse <= 250 for pulse, _ in burst)
        assert all(125 <= gap <= 250 for _, gap in burst[:-1])
        assert 2_500 <= burst[-1][1] <= 30_000


def test_low_while_the_time_of_day_is_not_known() -> None:
    played = play((), 180.0, minds_time_of_day=True)
    made = bursts(on_and_off_ms(played.edges, BUZZER_GPIO, 0.0))
    assert len(made) > 3
    for burst in made:
        assert len(burst) <= 2
        assert all(125 <= pulse <= 250 for pulse, _ in burst)
        assert burst[-1][1] > 15_000


def test_the_failure_sound_of_a_second_box_is_no_alarm_sound_and_lasts(tmp_path: Path) -> None:
    both = Both(tmp_path)
    both.play(*ORDINARY, (FAULT_S, Both.cut), end_s=FAULT_S + 140.0)
    leave = on_and_off_ms(both.there.simulated_pins.edges, BUZZER, FAULT_S + 10.5)
    assert sum(on_ms + off_ms for on_ms, off_ms in leave) >= 120_000
    # Longer than any pulse of the standard (250 ms), so that it is told from an alarm.
    assert all(on_ms > 2 * 250 for on_ms, _ in leave)
    assert all(off_ms < 2_500 for _, off_ms in leave)
