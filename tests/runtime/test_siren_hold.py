"""Between a death in use and the next run the siren sounds, and is let go in time."""

import asyncio
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from linetender.runtime.siren_hold import (
    LOCK_NAME,
    SirenHold,
    hold_siren_on,
    is_locked,
    take_siren_over,
)
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender_drivers.simulated.machine import SimulatedMachine
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual
from runtime.demo_sessions import BUZZER_GPIO, GREEN_GPIO, RED_GPIO, demo_station

HOLDER = """
import signal, sys
from pathlib import Path
from linetender.runtime.siren_hold import SirenHold
with SirenHold(Path(sys.argv[1])):
    print("holds", flush=True)
    signal.sigwait({signal.SIGTERM if sys.argv[2] == "lets go" else signal.SIGUSR1})
"""


def holder(folder: Path, manner: str) -> subprocess.Popen[bytes]:
    code = f"import signal; signal.pthread_sigmask(signal.SIG_BLOCK, [15, 10]){HOLDER}"
    process = subprocess.Popen([sys.executable, "-c", code, folder, manner], stdout=subprocess.PIPE)
    assert process.stdout is not None
    assert process.stdout.readline() == b"holds\n"
    return process


def held(
    seconds: float, stop_at_s: float | None = None
) -> tuple[tuple[str, ...], list[tuple[float, int, bool]]]:
    """Hold the demo station's siren; return what was held and the edges of its pins."""

    async def act() -> tuple[tuple[str, ...], list[tuple[float, int, bool]]]:
        clock = VirtualClock()
        machine = SimulatedMachine(clock)
        stop = asyncio.Event()
        if stop_at_s is not None:
            asyncio.get_running_loop().call_later(stop_at_s, stop.set)
        names = await hold_siren_on(demo_station(), machine, stop, seconds)
        edges = machine.simulated_pins.edges
        return names, [(edge.at_ns / 1e9, edge.gpio, edge.high) for edge in edges]

    return run_virtual(act())


@pytest.mark.parametrize(("stop_at_s", "end_s"), [(None, 120.0), (1.5, 1.5)])
def test_the_siren_sounds_steadily_and_all_else_is_safe(
    stop_at_s: float | None, end_s: float
) -> None:
    _, edges = held(120.0, stop_at_s)
    of_siren = [edge for edge in edges if edge[1] == BUZZER_GPIO]
    assert of_siren == [
        (0, BUZZER_GPIO, False),
        (0, BUZZER_GPIO, True),
        (end_s, BUZZER_GPIO, False),
    ]
    others = {edge for edge in edges if edge[1] in (GREEN_GPIO, RED_GPIO)}
    assert all(not high for _, _, high in others)
    assert {gpio for _, gpio, _ in others} == {GREEN_GPIO, RED_GPIO}


def test_a_relay_drops_and_a_sign_of_life_is_still(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    life = (
        '\n[devices.life]\ndriver = "gpio_keep_alive"\noutput = "keep_alive"\n'
        'options = { chip = "simulated", gpio = 5 }\n'
    )
    text = shipped("config/demo.toml").read_text(encoding="utf-8")
    file = tmp_path / "station.toml"
    file.write_text(text.replace('"gpio_buzzer"', '"gpio_relay"') + life, encoding="utf-8")
    station = load_station(file)
    monkeypatch.setitem(globals(), "demo_station", lambda: station)
    names, edges = held(10.0)
    relay = [high for _, gpio, high in edges if gpio == BUZZER_GPIO]
    assert relay[-1] is False  # de-energised: what hangs on its resting contact sounds
    assert [high for at_s, gpio, high in edges if gpio == BUZZER_GPIO and 0 < at_s < 10] == []
    assert {high for _, gpio, high in edges if gpio == 5} == {False}
    assert "life" in names


def test_an_output_that_cannot_be_opened_keeps_no_other_silent() -> None:
    async def act() -> tuple[tuple[str, ...], bool]:
        machine = SimulatedMachine(VirtualClock())
        machine.pins("simulated").output(RED_GPIO, safe_high=False)  # taken by somebody
        stop = asyncio.Event()
        names = await hold_siren_on(demo_station(), machine, stop, 5.0)
        sounded = [e.high for e in machine.simulated_pins.edges if e.gpio == BUZZER_GPIO]
        return names, True in sounded

    names, sounded = run_virtual(act())
    assert sounded
    assert not any("red" in name for name in names)


def test_the_next_run_asks_the_holder_to_let_go_and_waits_for_it(tmp_path: Path) -> None:
    with holder(tmp_path, "lets go") as process:
        assert is_locked(tmp_path / LOCK_NAME)
        take_siren_over(tmp_path)
        assert not is_locked(tmp_path / LOCK_NAME)
        assert process.wait() == 0


def test_a_holder_that_does_not_let_go_holds_nobody_up_for_long(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr("linetender.runtime.siren_hold.LETTING_GO_S", 0.05)
    with holder(tmp_path, "clings") as process:
        take_siren_over(tmp_path)
        assert "does not let go" in caplog.text
        process.send_signal(signal.SIGUSR1)


@pytest.mark.parametrize("text", [None, "", "nobody", "4194304000"])
def test_where_nobody_holds_it_nothing_is_done(tmp_path: Path, text: str | None) -> None:
    if text is not None:
        (tmp_path / LOCK_NAME).write_text(text, encoding="ascii")
    take_siren_over(tmp_path)


def test_a_second_holder_is_refused_and_a_dead_one_forgotten(tmp_path: Path) -> None:
    with SirenHold(tmp_path):
        assert (tmp_path / LOCK_NAME).read_text(encoding="ascii") == str(os.getpid())
        with pytest.raises(BlockingIOError), SirenHold(tmp_path):
            pass
    with SirenHold(tmp_path):
        pass
