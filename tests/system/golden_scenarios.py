"""The faults that have a golden recording, played on the demo station in virtual time."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from linetender.core.carryover import Carryover
from linetender.core.inputs import Verb
from linetender.core.instants import SECOND_NS, from_seconds, to_seconds
from linetender.recording.lines import as_recorded
from linetender.recording.writer import FileLimits, RecordingWriter
from linetender.runtime.clock import demo_wall_clock
from linetender.runtime.live_station import LiveStation, Surroundings
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped
from linetender.settings.station import Station
from linetender.simulation.devices import AIR_SENSOR_ADDRESS, DEMO_BUTTONS, Rig
from linetender.simulation.world import World
from linetender_drivers.simulated.i2c_bus import BusFault, FaultKind
from linetender_drivers.simulated.machine import SIMULATED, SimulatedMachine
from linetender_drivers.simulated.plx_peer import PeerState
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual
from runtime.demo_sessions import ORDINARY, Deed, Hand

PERIOD_S = 0.2
"""Slower than the demo's sensor, so that the files stay small."""

FAULT_S = 15.0
NC_GPIO = DEMO_BUTTONS["answer"].nc_gpio

PROVENANCE = """\
# Where the recording beside this file comes from.
device = "SDP810-500Pa on I2C and a PLX oximeter by radio, simulated at their registers and packets"
firmware = "none: simulated"
who = "simulated"
when = "virtual time; the wall clock in the header is invented"
how = "tests/system/golden_scenarios.py, scenario {name}, by pytest --update-golden"
config = "config/demo.toml with devices.air.options.period_s = {period}"
schema = 1
shows = "{shows}"
"""


@dataclass(frozen=True)
class Scenario:
    """One fault.

    Attributes:
        name: Of the files.
        shows: What happens, in a sentence.
        deeds: What befalls the station, besides an ordinary start.
        end_s: When it ends.
        limits: When a new file begins.
        with_frames: Whether what the devices answer is recorded, so that decoding is
            replayed, too.
        carryover: Makes what a run before left.
    """

    name: str
    shows: str
    deeds: tuple[Deed, ...]
    end_s: float = 45.0
    limits: FileLimits | None = None
    with_frames: bool = False
    carryover: Callable[[], Carryover | None] = lambda: None

    def provenance(self) -> str:
        """Return the text of the file that says where the recording comes from."""
        return PROVENANCE.format(name=self.name, period=PERIOD_S, shows=self.shows)

    def record(self, folder: Path) -> tuple[Path, ...]:
        """Play it, and return the files recorded."""
        writer = RecordingWriter(
            folder / f"{self.name}.jsonl",
            limits=self.limits,
            waits=True,
            with_frames=self.with_frames,
        )
        before = self.carryover()
        # A station that resumes is worn already: nobody starts it once more.
        deeds = (ORDINARY[0], *self.deeds) if before else (*ORDINARY, *self.deeds)
        _play(deeds, self.end_s, writer, before)
        assert writer.fault is None
        return writer.paths


@cache
def slow_station() -> Station:
    """Return the demo station with a slower air sensor."""
    text = shipped("config/demo.toml").read_text(encoding="utf-8")
    changed = text.replace("address = 0x25 }", f"address = 0x25, period_s = {PERIOD_S} }}")
    assert changed != text
    with TemporaryDirectory() as folder:
        path = Path(folder) / "demo.toml"
        path.write_text(changed, encoding="utf-8")
        return load_station(path)


def _play(
    deeds: tuple[Deed, ...],
    end_s: float,
    recorder: RecordingWriter | None = None,
    carryover: Carryover | None = None,
) -> LiveStation:
    async def act(hand: Hand) -> None:
        for at_s, deed in (*deeds, (end_s, lambda _: None)):
            await hand.rig.machine.clock.sleep(at_s - to_seconds(hand.now_ns))
            deed(hand)

    async def run() -> LiveStation:
        clock = VirtualClock()
        machine = SimulatedMachine(clock)
        rig = Rig(World(1), machine)
        around = Surroundings(machine, clock, demo_wall_clock, "demo", recorder=recorder)
        live = LiveStation(slow_station(), around, carryover)
        await live.run(act(Hand(rig, live)))
        return live

    return run_virtual(run())


def _on_the_bus(kind: FaultKind, until_s: float | None) -> tuple[Deed, ...]:
    until_ns = None if until_s is None else from_seconds(until_s)
    fault = BusFault(
        kind, AIR_SENSOR_ADDRESS, from_ns=from_seconds(FAULT_S), until_ns=until_ns, bit=3
    )
    return ((FAULT_S, lambda hand: hand.rig.machine.buses[SIMULATED].faults.append(fault)),)


def fault_on_the_bus(until_s: float) -> tuple[Deed, ...]:
    """Return the deed that flips a bit of each answer from FAULT_S to an instant (s)."""
    return _on_the_bus(FaultKind.FLIPPED_BIT, until_s)


def _oximeter(state: PeerState) -> Callable[[Hand], None]:
    def become(hand: Hand) -> None:
        hand.rig.oximeter.state = state

    return become


def _button(held_s: float) -> tuple[Deed, ...]:
    return (
        (FAULT_S, lambda hand: hand.rig.press("answer")),
        (FAULT_S + held_s, lambda hand: hand.rig.release("answer")),
    )


def _wire(hand: Hand) -> None:
    assert NC_GPIO is not None
    hand.rig.machine.simulated_pins.release(NC_GPIO)


def _killed_while_air_was_lost() -> Carryover:
    """Return what a run leaves that is killed in an alarm and comes back 5 s later."""
    deeds = (*ORDINARY, (FAULT_S, Hand.fan_stop))
    live = _play(deeds, 25.0)
    return as_recorded(live.watch.carryover().after_restart(5 * SECOND_NS))


SCENARIOS = (
    Scenario(
        "nack_storm",
        "the air sensor is unplugged for 12 s",
        _on_the_bus(FaultKind.NACK, 27.0),
        60.0,
        with_frames=True,
    ),
    Scenario(
        "bad_crc",
        "each answer of the air sensor has a flipped bit for 12 s",
        _on_the_bus(FaultKind.FLIPPED_BIT, 27.0),
        60.0,
        with_frames=True,
    ),
    Scenario(
        "all_zeros",
        "the data line is shorted to ground for 12 s",
        _on_the_bus(FaultKind.ZEROS, 27.0),
        60.0,
        with_frames=True,
    ),
    Scenario(
        "frozen_value",
        "the air sensor gives the same answer for ever, with a good CRC",
        _on_the_bus(FaultKind.FROZEN, None),
        60.0,
        with_frames=True,
    ),
    Scenario(
        "never_returning_call",
        "a call on the bus never returns, for 12 s",
        _on_the_bus(FaultKind.NEVER_RETURNS, 27.0),
        60.0,
        with_frames=True,
    ),
    Scenario(
        "oximeter_out_of_range",
        "the oximeter leaves the range of the radio for 40 s and comes back by itself",
        (
            (FAULT_S, _oximeter(PeerState.OUT_OF_RANGE)),
            (FAULT_S + 40.0, _oximeter(PeerState.WORN)),
        ),
        90.0,
        with_frames=True,
    ),
    Scenario(
        "finger_out",
        "the oximeter slips off the finger for 40 s",
        ((FAULT_S, _oximeter(PeerState.FINGER_OUT)), (FAULT_S + 40.0, _oximeter(PeerState.WORN))),
        75.0,
        with_frames=True,
    ),
    Scenario(
        "fan_stop_unanswered",
        "the fan stops while the hood is worn and nobody answers",
        ((FAULT_S, Hand.fan_stop),),
        60.0,
    ),
    Scenario(
        "help_held",
        "the wearer holds the button for 3 s, and is answered later",
        (*_button(3.0), (30.0, lambda hand: hand.command(Verb.ACKNOWLEDGE))),
    ),
    Scenario(
        "broken_button_wire",
        "a wire of the button breaks and is mended 10 s later",
        ((FAULT_S, _wire), (FAULT_S + 10.0, lambda hand: hand.rig.release("answer"))),
    ),
    Scenario(
        "rotation",
        "the fan stops, and a new file begins each 13 s without changing anything",
        ((FAULT_S, Hand.fan_stop),),
        36.0,
        FileLimits(13 * SECOND_NS),
    ),
    Scenario(
        "restart",
        "killed while the air was lost, back after 5 s blind; the fan runs again",
        ((5.0, lambda hand: hand.command(Verb.ACKNOWLEDGE)),),
        30.0,
        carryover=_killed_while_air_was_lost,
    ),
)
