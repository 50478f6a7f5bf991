"""What a long watch leaves behind in the daemon: memory, threads, open files. Prints.

    nice python tests/benchmarks/soak.py --real-hours 1 [--samples FILE]
    nice python tests/benchmarks/soak.py --simulated-hours 24

`linetender run` as a process of its own in a served world: pressure at 25 Hz, the gases,
the fan's current and an oximeter are decoded from the chips' own bytes, recorded to disk
(files rotated, closed ones compressed) and told to a real mosquitto through the outbox.
The hood is on all the time. Once in a while something goes wrong, is told, is answered and
comes back, so that alarms, causes and deliveries are part of it.

By `--real-hours` the world lives at the speed of life and is looked at every 10 s; by
`--simulated-hours` it waits for nothing but the station, and for the broker as long as a
served world grants (60 real seconds in all). Slopes are least-squares lines through the
samples after the first tenth. Yardstick: no slope in resident memory that would matter in
a week, no more threads and open files at the end than after the start.
"""

import argparse
import csv
import sqlite3
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import astuple, dataclass, fields
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from mosquitto_broker import MosquittoBroker
from served_world import World, served_world

BUZZER = 22
REAL_STEP_S, SIMULATED_STEP_S = 10, 120
"""Between two samples, in the world's time."""

MISHAP_EVERY_S = 600
"""In the world's time."""

MISHAPS = ("fan_stop", "oximeter_away", "sensor_unplugged", "duct_off", "bus_stuck")

STATION = """
schema = 1
[station]
id = "soak"
arrangement = "wearer_side"
exit_time_s = 7
[element]
kind = "hood_hose"
normal_pa = 60
[devices.air]
driver = "sdp8xx"
signals = ["hood_pressure_pa"]
options = {{ bus = "simulated:world", address = 0x25 }}
[devices.oximeter]
driver = "plx_oximeter"
signals = ["spo2_percent", "pulse_rate_bpm", "oximeter_battery_percent"]
options = {{ address = "simulated:world" }}
[devices.supply]
driver = "ina219"
signals = ["supply_voltage_v"]
options = {{ bus = "simulated:world", address = 0x40 }}
[devices.hood_co2]
driver = "scd30"
signals = ["hood_co2_ppm"]
options = {{ bus = "simulated:world", ambient_pressure_hpa = 966 }}
[devices.answer]
driver = "gpio_button"
contact = "answer"
options = {{ chip = "simulated:world", no_gpio = 17, nc_gpio = 27 }}
[devices.buzzer]
driver = "gpio_buzzer"
output = "buzzer"
options = {{ chip = "simulated:world", gpio = 22 }}
[devices.lamp_green]
driver = "gpio_lamp"
output = "lamp_green"
options = {{ chip = "simulated:world", gpio = 23 }}
[rules]
base = "default"
[recording]
directory = "recordings"
rotate_minutes = {rotate_minutes}
[broker]
host = "127.0.0.1"
port = {port}
"""


@dataclass(frozen=True)
class Sample:
    """The daemon at one instant.

    Attributes:
        world_s: Time in the world (s).
        real_s: Real time since the beginning (s).
        resident_kb: Resident memory (kB).
        threads: How many it has.
        handles: How many files, sockets and pipes are open.
    """

    world_s: float
    real_s: float
    resident_kb: int
    threads: int
    handles: int


def sample(process: int, world_s: float, real_s: float) -> Sample:
    """Look at a process."""
    folder = Path(f"/proc/{process}")
    status = dict(line.split(":", 1) for line in (folder / "status").read_text().splitlines())
    return Sample(
        world_s,
        real_s,
        int(status["VmRSS"].split()[0]),
        int(status["Threads"]),
        len(list((folder / "fd").iterdir())),
    )


@dataclass(frozen=True)
class Soaked:
    """What a soak left.

    Attributes:
        seen: The daemon at each instant it was looked at.
        sounded: How often the buzzer's pin went high.
        recordings: How many files of the session there are.
        waiting: How many events the broker has not confirmed.
    """

    seen: list[Sample]
    sounded: int
    recordings: int
    waiting: int


def soak(folder: Path, hours: float, step_s: int, samples: Path | None = None) -> Soaked:
    """Let a station watch for so long in the world's time.

    Args:
        folder: For everything that comes of it.
        hours: How long (h).
        step_s: `REAL_STEP_S` or `SIMULATED_STEP_S`.
        samples: A file for each sample, or None.
    """
    is_real = step_s == REAL_STEP_S
    broker = MosquittoBroker(folder)
    broker.start()
    station = folder / "soak.toml"
    station.write_text(STATION.format(port=broker.port, rotate_minutes=15 if is_real else 60))
    pace = ("--speed", "1") if is_real else ("--held",)
    try:
        with served_world(folder, *pace) as world, world.background("run", station) as run:
            world.hand("wait", "5", "--stations", "1")
            world.hand("turn", "hood", "1")
            started = world.verb("start", "--wearer")
            assert started.returncode == 0, started
            seen = list(_watched(world, run.pid, hours * 3600.0, step_s, samples))
            assert run.poll() is None, "the daemon ended"
            run.terminate()
            run.communicate(timeout=60.0)
            buzzer = [level for _, level in world.edges(BUZZER)]
            recordings = len(list((folder / "recordings").iterdir()))
            memory = sqlite3.connect(folder / "world/state/soak/memory.sqlite3")
            ((waiting,),) = memory.execute("SELECT count(*) FROM outbox")
            memory.close()
            return Soaked(seen, sum(buzzer), recordings, waiting)
    finally:
        broker.stop()


def _watched(
    world: World, process: int, length_s: float, step_s: int, samples: Path | None
) -> Iterator[Sample]:
    """Yield one sample after another; meanwhile things go wrong and are mended."""
    begun_s, world_s = time.monotonic(), 0.0
    with (samples or Path("/dev/null")).open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(each.name for each in fields(Sample))
        number = 0
        while world_s < length_s:
            number += 1
            world.hand("wait", str(step_s))
            world_s = float(world.look()["now_s"])
            seen = sample(process, world_s, time.monotonic() - begun_s)
            rows.writerow(astuple(seen))
            file.flush()
            yield seen
            turn, phase = divmod(number, MISHAP_EVERY_S // step_s)
            if phase == 0:
                _mishap(world, MISHAPS[turn % len(MISHAPS)])


def _mishap(world: World, fault: str) -> None:
    """Let something go wrong for 20 s, be answered, and be mended."""
    world.hand("fault", fault)
    world.hand("wait", "10")
    world.hand("press", "answer")
    world.hand("wait", "10")
    world.hand("fault", "--clear")
    world.hand("wait", "10")
    world.hand("press", "answer")


def told(soaked: Soaked) -> list[str]:
    """Return what is printed of a soak."""
    seen = soaked.seen
    settled = _between(seen, 0.1, 1.0)
    quarters = [_between(seen, part / 4, (part + 1) / 4) for part in range(4)]
    return [
        f"{len(seen)} samples over {seen[-1].world_s / 3600:.2f} h of the world's time, "
        f"{seen[-1].real_s / 3600:.2f} h of real time",
        f"resident memory: {seen[0].resident_kb / 1000:.1f} MB first, "
        f"{settled[0].resident_kb / 1000:.1f} MB after the first tenth, "
        f"{seen[-1].resident_kb / 1000:.1f} MB last, "
        f"{max(each.resident_kb for each in seen) / 1000:.1f} MB most; "
        f"slope after the first tenth {_slope_kb_h(settled):+.1f} kB/h, "
        f"in each quarter {', '.join(f'{_slope_kb_h(part):+.1f}' for part in quarters)} kB/h",
        *(
            f"{name}: {values[0]} first, {values[-1]} last, {max(values)} most"
            for name, values in (
                ("threads", [each.threads for each in seen]),
                ("open files", [each.handles for each in seen]),
            )
        ),
        f"the buzzer's pin went high {soaked.sounded} times; {soaked.recordings} recordings; "
        f"{soaked.waiting} events that the broker did not confirm",
    ]


def _between(seen: list[Sample], low: float, high: float) -> list[Sample]:
    """Return the samples between two parts of the time."""
    end_s = seen[-1].world_s
    return [each for each in seen if low * end_s <= each.world_s <= high * end_s]


def _slope_kb_h(seen: list[Sample]) -> float:
    """Return the least-squares slope of the resident memory (kB/h)."""
    if len(seen) < 3:
        return float("nan")
    hours = np.array([each.world_s for each in seen]) / 3600.0
    return float(np.polyfit(hours, [each.resident_kb for each in seen], 1)[0])


def main() -> None:
    """Soak as the command line says, and print."""
    asked = argparse.ArgumentParser(description="Soak the daemon; print what it leaves behind.")
    how_long = asked.add_mutually_exclusive_group()
    how_long.add_argument("--real-hours", type=float)
    how_long.add_argument("--simulated-hours", type=float, default=0.5)
    asked.add_argument("--samples", type=Path, help="write each sample to this file (CSV)")
    given = asked.parse_args()
    step_s = SIMULATED_STEP_S if given.real_hours is None else REAL_STEP_S
    hours = given.simulated_hours if given.real_hours is None else given.real_hours
    with tempfile.TemporaryDirectory() as folder:
        print(*told(soak(Path(folder), hours, step_s, given.samples)), sep="\n")


if __name__ == "__main__":
    main()
