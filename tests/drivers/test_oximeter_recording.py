"""The recorded notifications of an oximeter still mean what they meant.

The file holds what came over the link, with its times, and what was read from it. `pytest
--update-golden` makes it anew, from the simulated oximeter.
"""

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from linetender_drivers.errors import DriverError
from linetender_drivers.registry import find_spec
from linetender_drivers.simulated.plx_peer import PeerState, SimulatedPeerLink, SimulatedPlxPeer
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

PATH = Path(__file__).parents[1] / "recordings" / "drivers" / "plx_oximeter.jsonl"
SIGNALS = (
    "spo2_percent",
    "pulse_rate_bpm",
    "pulse_amplitude_index_percent",
    "oximeter_battery_percent",
)
STATES = [PeerState.WORN] * 3 + [PeerState.FINGER_OUT] * 2 + [PeerState.WORN]


class RecordedLink:
    """Gives what was recorded, and only where the same is asked for."""

    def __init__(self, calls: list[dict[str, Any]]) -> None:
        self.left = list(calls)

    async def open(self) -> None:
        self._take("open", None)

    async def next(self) -> bytes:
        return bytes.fromhex(self._take("next", None))

    async def value(self, characteristic: str) -> bytes | None:
        gave = self._take("value", characteristic)
        return None if gave is None else bytes.fromhex(gave)

    async def close(self) -> None:
        self._take("close", None)

    def _take(self, call: str, asked: str | None) -> Any:
        told = next(one for one in self.left if one["call"] == call)
        assert told["asked"] == asked
        self.left.remove(told)
        return told["gave"]


class NotingLink:
    """A link that notes each call with what it gave, in the order in which they ended."""

    def __init__(self, link: SimulatedPeerLink) -> None:
        self.calls: list[dict[str, Any]] = []
        self._link = link

    async def open(self) -> None:
        await self._link.open()
        self._note("open")

    async def next(self) -> bytes:
        frame = await self._link.next()
        self._note("next", gave=frame)
        return frame

    async def value(self, characteristic: str) -> bytes | None:
        value = await self._link.value(characteristic)
        self._note("value", characteristic, value)
        return value

    async def close(self) -> None:
        await self._link.close()
        self._note("close")

    def _note(self, call: str, asked: str | None = None, gave: bytes | None = None) -> None:
        octets = None if gave is None else gave.hex()
        self.calls.append({"call": call, "asked": asked, "gave": octets})


async def _values(clock: VirtualClock, link: Any, before: Any) -> list[list[object]]:
    machine = SimpleNamespace(clock=clock, notifications=lambda *_: link)
    spec = find_spec("plx_oximeter")
    options = spec.options.model_validate({"address": "simulated"})
    sensor = spec.opener()("finger", options, machine, SIGNALS)
    await sensor.open()
    made = []
    for state in STATES:
        before(state)
        made += [[one.signal, one.value, one.reason, one.doubt] for one in await sensor.read()]
        await clock.sleep(0.2)  # the battery's level comes meanwhile
    await sensor.close()
    return made


def _record() -> None:
    async def scene() -> tuple[list[dict[str, Any]], list[list[object]]]:
        clock = VirtualClock()
        peer = SimulatedPlxPeer(clock)
        link = NotingLink(SimulatedPeerLink(peer))
        made = await _values(clock, link, lambda state: setattr(peer, "state", state))
        return link.calls, made

    calls, values = run_virtual(scene())
    header = {
        "driver": "plx_oximeter",
        "device": "simulated oximeter, no real part",
        "who": "simulation",
        "how": "tests/drivers/test_oximeter_recording.py --update-golden",
        "values": values,
    }
    PATH.write_text("".join(json.dumps(one) + "\n" for one in (header, *calls)))


def _replayed(calls: list[dict[str, Any]]) -> tuple[list[list[object]], list[dict[str, Any]]]:
    async def scene() -> tuple[list[list[object]], list[dict[str, Any]]]:
        link = RecordedLink(calls)
        return await _values(VirtualClock(), link, lambda _: None), link.left

    return run_virtual(scene())


def test_the_recorded_notifications_mean_what_they_meant(update_golden: bool) -> None:
    if update_golden:
        _record()
    header, *calls = [json.loads(line) for line in PATH.read_text().splitlines()]
    assert _replayed(calls) == (header["values"], [])


def test_a_notification_cut_short_does_not_pass() -> None:
    _, *calls = [json.loads(line) for line in PATH.read_text().splitlines()]
    frame = next(one for one in calls if one["call"] == "next")
    frame["gave"] = frame["gave"][:4]
    with pytest.raises(DriverError):
        _replayed(calls)
