"""The sign of life changes only while everything moves; and what counts as moving."""

import asyncio
from itertools import pairwise
from pathlib import Path

import pytest

from linetender.core.events import Cue, Demand, Sound
from linetender.runtime.inbox import Inbox
from linetender.runtime.keep_alive import KeepAliveSchedule, WatchLampSchedule
from linetender.runtime.outputs import Output, schedule_for
from linetender.runtime.progress import MARGIN_NS, Progress
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual
from runtime import demo_sessions
from runtime.demo_sessions import Hand
from runtime.fake_devices import ScriptedOutput, demo_device

S = 1_000_000_000


def test_a_promise_is_broken_only_past_its_margin() -> None:
    progress = Progress()
    progress.promise("core", 1 * S)
    progress.promise("air", 5 * S)
    assert progress.stalled(1 * S + MARGIN_NS) == ()
    assert progress.stalled(1 * S + MARGIN_NS + 1) == ("core",)
    assert progress.stalled(60 * S) == ("core", "air")
    progress.promise("core", 60 * S)
    assert progress.stalled(60 * S) == ("air",)


@pytest.mark.parametrize(
    ("role", "schedule"), [("lamp_green", WatchLampSchedule), ("keep_alive", KeepAliveSchedule)]
)
def test_green_lamp_and_keep_alive_are_signs_of_life(role: str, schedule: type) -> None:
    assert isinstance(schedule_for(role, Progress(), 0), schedule)


def levels(schedule: KeepAliveSchedule | WatchLampSchedule, until_s: float) -> list[float]:
    """Return the instants (s) at which a level changes."""
    changes, level = [], False
    while (edge := schedule.next_edge()) is not None and edge.due_ns < until_s * S:
        now = schedule.take(edge.due_ns)
        if now is not level:
            changes.append(round(edge.due_ns / S, 3))
        level = now
    return changes


def test_the_green_lamp_blinks_a_code_and_the_keep_alive_pin_does_not() -> None:
    """Two, a pause, one; the external timer must not take it for a stop."""
    demand = Demand(cue=Cue.CODE, code=(2, 1))
    lamp, pin = WatchLampSchedule(Progress(), 0), KeepAliveSchedule(Progress(), 0)
    lamp.demand(demand, 0)
    pin.demand(demand, 0)
    assert levels(lamp, 4.0) == [0.0, 0.3, 0.6, 0.9, 2.1, 2.4]
    assert levels(pin, 2.1) == [0.5, 1.0, 1.5, 2.0]


def test_a_lamp_that_asks_stands_still_when_a_part_has_stalled() -> None:
    progress = Progress()
    progress.promise("core", 0)
    lamp = WatchLampSchedule(progress, 0)
    lamp.demand(Demand(cue=Cue.ASKS), 0)
    stopped_s = MARGIN_NS / S
    assert max(levels(lamp, stopped_s + 5.0)) <= stopped_s + 0.12


def test_it_is_a_square_wave_of_1_hz_whatever_is_demanded() -> None:
    schedule = KeepAliveSchedule(Progress(), 0)
    schedule.demand(Demand(Sound.HIGH, burst=1), 0)
    edges = []
    for _ in range(6):
        edge = schedule.next_edge()
        assert schedule.take(edge.due_ns - 1) is not edge.on  # not due yet
        assert schedule.take(edge.due_ns) is edge.on
        edges.append((edge.due_ns / S, edge.on))
    assert edges == [
        (0.5, True),
        (1.0, False),
        (1.5, True),
        (2.0, False),
        (2.5, True),
        (3.0, False),
    ]


@pytest.mark.parametrize(("stalls_at_s", "level"), [(4.2, False), (4.7, True)])
def test_when_a_part_stalls_it_stays_as_it_is_until_the_part_moves_again(
    stalls_at_s: float, level: bool
) -> None:
    async def act() -> list[tuple[float, bool]]:
        clock = VirtualClock()
        progress = Progress()
        progress.promise("core", round(stalls_at_s * S) - MARGIN_NS)
        pin = ScriptedOutput(clock)
        output = Output(demo_device("lamp_green"), pin, Inbox(clock), clock, progress, Demand())
        task = asyncio.create_task(output.keep())
        await clock.sleep(10.1)
        progress.promise("core", 20 * S)
        await clock.sleep(1)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        return pin.written

    written = run_virtual(act())
    before = [edge for edge in written if edge[0] < 10]
    after = [edge for edge in written if edge[0] > 10]
    assert before[-1] == (4.5 if level else 4.0, level)
    assert after == [(10.5, not level), (11.0, level)]


def test_a_stations_sign_of_life_and_relay_work_on_their_pins(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def edges(played: demo_sessions.Played, gpio: int) -> list[tuple[int, bool]]:
        return [(edge.at_ns, edge.high) for edge in played.edges if edge.gpio == gpio]

    deeds, end_s = (*demo_sessions.ORDINARY, (30.0, Hand.fan_stop)), 40.0
    buzzer = edges(demo_sessions.play(deeds, end_s), demo_sessions.BUZZER_GPIO)
    life = (
        '\n[devices.life]\ndriver = "gpio_keep_alive"\noutput = "keep_alive"\n'
        'options = { chip = "simulated", gpio = 5 }\n'
    )
    text = shipped("config/demo.toml").read_text(encoding="utf-8")
    file = tmp_path / "station.toml"
    file.write_text(text.replace('"gpio_buzzer"', '"gpio_relay"') + life, encoding="utf-8")
    station = load_station(file)
    monkeypatch.setattr(demo_sessions, "demo_station", lambda: station)
    played = demo_sessions.play(deeds, end_s)

    signs = [at_ns for at_ns, _ in edges(played, 5) if 0 < at_ns < end_s * S]
    assert {after - before for before, after in pairwise(signs)} == {S // 2}
    assert len(signs) >= 78
    relay = edges(played, demo_sessions.BUZZER_GPIO)
    assert [high for _, high in relay[:2]] == [False, True]  # de-energised, then held
    dropped = [(at_ns, not high) for at_ns, high in relay[2:] if at_ns < end_s * S]
    assert dropped == [(at_ns, high) for at_ns, high in buzzer[1:] if at_ns < end_s * S]
    assert any(on for _, on in dropped)
    assert relay[-1][1] is False  # the end of the program lets it drop
