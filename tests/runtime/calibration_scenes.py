"""Simulated lines and guides for the tests of teaching and calibrating."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from linetender.airline.teaching import LineState
from linetender.annunciation.payloads import Wall
from linetender.memory.store import Store, open_store
from linetender.runtime.calibration_guide import BagFills, Conditions, FlowAnswer, Traverse
from linetender.runtime.pressure_measuring import Bench, Told
from linetender.settings.calibration_target import CalibrationTarget, load_target
from linetender.simulation.calibration_line import CalibrationLine
from linetender_drivers.simulated.i2c_bus import SimulatedI2cBus
from linetender_drivers.simulated.machine import SIMULATED, SimulatedMachine
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual
from settings.station_texts import AIR, HANDS, STATION

UNTAUGHT = STATION + '[element]\nkind = "hood_hose"\n' + AIR + HANDS

CLOSED = (0.0, 0.45, 0.6, 0.7)
"""Closed parts of the duct at the settings of a calibration."""

BAG_L = 200.0


class Scene:
    """One simulated line with everything a procedure runs on.

    Attributes:
        bench: For the procedures.
        line: The line, for hands.
        bus: To put faults on.
        target: The station.
    """

    def __init__(self, folder: Path, at: str = "2031-03-04T10:15:00.000+01:00") -> None:
        clock = VirtualClock()
        machine = SimulatedMachine(clock)
        path = folder / "shed.toml"
        path.write_text(UNTAUGHT, encoding="utf-8")
        self.target: CalibrationTarget = load_target(path)
        self.line = CalibrationLine(machine, clock, seed=4)
        self.bus: SimulatedI2cBus = machine.buses[SIMULATED]
        self.bench = Bench(machine, clock, lambda: Wall(at, True))


class Guide:
    """Hands and answers of a test.

    Args:
        line: What the hands are at.
        change_pa: By what state the sensor's pressure is overruled, for lines that are wrong.
        seconds: What the stopwatch says at a setting (from 1) where it is not as it is.
        retries: How often something is measured again.
        stops_at: The setting at which the person walks away.
        checks: Airflow over the true one, of a second method after the settings; None for none.
    """

    def __init__(
        self,
        line: CalibrationLine,
        *,
        wrong: Callable[[LineState], None] = lambda _: None,
        seconds: dict[int, tuple[float, ...]] | None = None,
        retries: int = 0,
        stops_at: int | None = None,
        checks: float | None = None,
    ) -> None:
        self.said: list[str] = []
        self.reasons: list[str] = []
        self.prepared: list[LineState] = []
        self.settings: list[int] = []
        self.resumed: list[int] = []
        self.measured: list[str] = []
        self._line = line
        self._wrong = wrong
        self._seconds = seconds or {}
        self._retries = retries
        self._stops_at = stops_at
        self._checks = checks

    def say(self, text: str) -> None:
        self.said.append(text)

    @contextmanager
    def measuring(self, what: str, seconds: float) -> Iterator[Told]:
        done: list[float] = []
        yield lambda done_s, value: done.append(done_s)
        assert done == sorted(done)
        assert done[-1] == seconds
        self.measured.append(what)

    def conditions(self) -> Conditions:
        return Conditions(21.0, 45.0)

    def prepare(self, state: LineState) -> None:
        self.prepared.append(state)
        self._line.bring(state)
        self._wrong(state)

    def resumes(self, points: int, begun_at: str) -> bool:
        self.resumed.append(points)
        return True

    def set_flow(self, point: int) -> bool:
        if point == self._stops_at:
            raise KeyboardInterrupt
        if point > len(CLOSED) + (self._checks is not None):
            return False
        self.settings.append(point)
        self._line.bring(LineState.NORMAL)
        self._line.throttle(CLOSED[min(point, len(CLOSED)) - 1])
        return True

    def flow(self, point: int) -> FlowAnswer:
        if point > len(CLOSED):
            assert self._checks is not None
            # 100 mm: 1 m/s is 471.24 L/min.
            velocity = self._line.airflow_l_min() * self._checks / 471.239
            return FlowAnswer(Traverse(100.0, (velocity,) * 6), is_check=True)
        typed = self._seconds.pop(point, None)
        seconds = typed or tuple(self._line.fill_s(BAG_L) for _ in range(3))
        return FlowAnswer(BagFills(BAG_L, seconds))

    def retries(self, reasons: Sequence[str]) -> bool:
        self.reasons += reasons
        self._retries -= 1
        return self._retries >= 0


def played(folder: Path, scene: Scene, procedure: Callable[[Store], Any]) -> Any:
    """Run a procedure on the memory of a folder, in virtual time."""

    async def run() -> Any:
        with open_store(folder / "state") as store:
            return await procedure(store)

    return run_virtual(run())
