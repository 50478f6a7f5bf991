"""A live station whose oximeter hangs on a second box: read, lost, late, and back."""

from collections.abc import Callable
from pathlib import Path
from typing import Any
from unittest import mock

from linetender.annunciation.forward_payload import (
    ForwardedReading,
    ForwardPacket,
    encode_packet,
)
from linetender.core.inputs import Quality
from linetender.core.signals import Signal
from linetender.core.snapshot import SignalView, Snapshot
from linetender.runtime.incoming import Incoming, Received
from linetender.runtime.telling import Teller
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender.settings.station import Station
from runtime import demo_sessions
from runtime.demo_sessions import ORDINARY, Deed, Hand, Played, play

RUN = "0a1b2c3d"
TOPIC = "linetender/demo/forward/bench"
FIRST_S, LOST_S, LATE_S, BACK_S, END_S = 2, 30, 70, 80, 100
OLD = """driver = "plx_oximeter"
signals = ["spo2_percent", "pulse_rate_bpm"]
options = { address = "simulated" }"""
NEW = """driver = "forwarded"
from = "bench"
signals = ["spo2_percent", "pulse_rate_bpm"]"""


def station_at(folder: Path) -> Station:
    """Return the demo's station with its oximeter at another box."""
    text = shipped("config/demo.toml").read_text(encoding="utf-8")
    oximeter = text[text.index("[devices.oximeter]") :].split("\n\n")[0]
    path = folder / "station.toml"
    forwarded = f'[devices.oximeter]\n{NEW}\n[broker]\nhost = "localhost"\n'
    path.write_text(text.replace(oximeter, forwarded), encoding="utf-8")
    return load_station(path)


def oxygen(snapshot: Snapshot) -> SignalView:
    return next(view for view in snapshot.signals if view.signal is Signal.SPO2_PERCENT)


def played(folder: Path) -> Played:
    """Play: packets come, stop, come late, come again."""
    station = station_at(folder)
    published: list[str] = []

    def publish(topic: str, payload: bytes, **_: Any) -> None:
        published.append(topic)

    teller, incoming = Teller(station.plan, RUN, publish), Incoming()

    def packet(count: int, late_beats: int) -> Callable[[Hand], None]:
        def send(_: Hand) -> None:
            readings = (
                ForwardedReading("spo2_percent", 97.0),
                ForwardedReading("pulse_rate_bpm", 72.0, doubt="poor_signal"),
            )
            heard = max(0, teller.beat - late_beats)
            made = encode_packet(ForwardPacket(RUN, heard, "cafe", count, readings))
            incoming.put(Received(TOPIC, made, False))

        return send

    deeds: list[Deed] = [*ORDINARY]
    for second in (*range(FIRST_S, LOST_S), *range(LATE_S, END_S)):
        late_beats = 6 if LATE_S <= second < BACK_S else 0
        deeds.append((second + 0.5, packet(second, late_beats)))
    with mock.patch.object(demo_sessions, "demo_station", lambda: station):
        return play(
            sorted(deeds, key=lambda deed: deed[0]), END_S, teller=teller, incoming=incoming
        )


def test_it_is_watched_as_if_it_were_here_and_never_made_up(tmp_path: Path) -> None:
    whole = played(tmp_path)
    assert [alarm for alarm in whole.alarms() if alarm[0] == "spo2_invalid"] == [
        # 30 s after the last good reading, of 29.5 s; over 10 s after the first good one of
        # 80.5 s: late ones clear nothing.
        ("spo2_invalid", "unacknowledged", 59.5),
        ("spo2_invalid", "returned_unacknowledged", 90.5),
    ]
    views = {round(one.now_ns / 1e9): oxygen(one) for one in whole.snapshots}
    assert (views[20].value, views[20].quality) == (97.0, Quality.GOOD)
    assert (views[40].value, views[40].reason) == (None, "timeout")
    assert (views[75].value, views[75].reason) == (None, "late")
    assert (views[95].value, views[95].quality) == (97.0, Quality.GOOD)
    pulse = {
        view.quality for view in whole.snapshots[20].signals if view.signal is Signal.PULSE_RATE_BPM
    }
    assert pulse == {Quality.DEGRADED}
