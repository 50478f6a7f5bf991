"""What a station takes of a second box's readings, and what it refuses and counts."""

import asyncio
import json
from types import SimpleNamespace
from typing import Any

import pytest

from linetender.annunciation.acceptance import FRESH_BEATS, Refusal
from linetender.core.signals import Signal
from linetender.runtime.forwards import LATE, SILENCE_S, WAITING, Forwards, open_forwarded
from linetender.runtime.incoming import Received
from linetender.settings.forwarded_spec import FORWARDED, SPEC, ForwardedOptions
from linetender.settings.station import Device
from linetender_drivers.errors import DeviceTimeout, DriverConfigError
from linetender_drivers.measurements import Measurement
from linetender_drivers.simulated.virtual_time import run_virtual

RUN, BEAT = "0a1b2c3d", 100
TOPIC = "linetender/shed/forward/bench"
SPO2: dict[str, Any] = {"signal": "spo2_percent", "value": 97.0}


def device(name: str, box: str, *signals: Signal) -> Device:
    return Device(name, FORWARDED, SPEC, ForwardedOptions.model_validate({"from": box}), signals)


def forwards() -> Forwards:
    """Return those of a station that takes an oximeter of `bench` and a CO2 sensor of `porch`."""
    teller: Any = SimpleNamespace(run=RUN, beat=BEAT)
    devices = (
        device("finger", "bench", Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM),
        device("co2", "porch", Signal.HOOD_CO2_PPM),
    )
    return Forwards("shed", devices, teller)


def packet(*readings: dict[str, Any], **other: Any) -> bytes:
    whole: dict[str, Any] = {
        "run": RUN,
        "heard": BEAT,
        "from": "cafe",
        "count": 1,
        "readings": list(readings or (SPO2,)),
        "v": 1,
    }
    return json.dumps(whole | other).encode()


def taken(*packets: bytes, topic: str = TOPIC, retained: bool = False) -> tuple[Any, Any]:
    """Return what came of packets: measurements by device, and refusals."""

    async def scene() -> tuple[Any, Any]:
        here = forwards()
        for each in packets:
            assert here.take(Received(topic, each, retained))
        made: dict[str, list[tuple[Measurement, ...]]] = {}
        for name in ("finger", "co2"):
            sensor = here.sensor(name)
            assert sensor is not None
            await sensor.open()
            while sensor._waiting.qsize():
                made.setdefault(name, []).append(await sensor.read())
        return made, dict(here.refusals.counts)

    return run_virtual(scene())


def test_a_packet_becomes_readings_of_its_device() -> None:
    readings = (
        SPO2 | {"doubt": "poor_signal"},
        {"signal": "pulse_rate_bpm", "reason": "finger_out"},
    )
    assert taken(packet(*readings)) == (
        {
            "finger": [
                (
                    Measurement("spo2_percent", 97.0, doubt="poor_signal"),
                    Measurement("pulse_rate_bpm", reason="finger_out"),
                )
            ]
        },
        {},
    )


def test_any_other_signal_box_or_unit_is_refused_and_counted() -> None:
    strange = ("hood_co2_ppm", "spo2_fraction", "hood_pressure_pa", "air_percent_of_baseline")
    readings = [{"signal": signal, "value": 1.0} for signal in strange]
    assert taken(packet(*readings, SPO2)) == (
        {"finger": [(Measurement("spo2_percent", 97.0),)]},
        {"the station file takes no such signal": 4},
    )
    assert taken(packet(), topic="linetender/shed/forward/attic") == (
        {},
        {"the station file takes nothing from such a box": 1},
    )


def test_the_second_of_a_signal_is_refused() -> None:
    made, refusals = taken(packet(SPO2, SPO2 | {"value": 99.0}))
    assert made == {"finger": [(Measurement("spo2_percent", 97.0),)]}
    assert refusals == {"it is the second of its signal": 1}


@pytest.mark.parametrize("age", [FRESH_BEATS + 1, BEAT])
def test_a_late_packet_is_a_bad_reading_and_is_taken_once(age: int) -> None:
    out = {"signal": "pulse_rate_bpm", "reason": "finger_out"}
    late = packet(SPO2, out, heard=BEAT - age)
    assert taken(late, late) == (
        {
            "finger": [
                (
                    Measurement("spo2_percent", reason=LATE),
                    Measurement("pulse_rate_bpm", reason="finger_out"),
                )
            ]
        },
        {Refusal.STALE: 1, Refusal.REPEATED: 1},
    )


def test_one_that_is_only_just_fresh_counts() -> None:
    made, refusals = taken(packet(heard=BEAT - FRESH_BEATS))
    assert made == {"finger": [(Measurement("spo2_percent", 97.0),)]}
    assert refusals == {}


@pytest.mark.parametrize(
    ("octets", "why"),
    [
        (packet(run="ffffffff"), Refusal.OTHER_RUN),
        (packet(run="ffffffff", heard=BEAT - 50), Refusal.OTHER_RUN),
        (b"", Refusal.GARBLED),
        (b"\xff\xfe", Refusal.GARBLED),
        (b"[" * 900, Refusal.GARBLED),
        (packet()[:-1], Refusal.GARBLED),
        (packet({"signal": "spo2_percent"}), Refusal.GARBLED),
        (packet(SPO2 | {"reason": "late"}), Refusal.GARBLED),
        (packet(SPO2 | {"value": "97"}), Refusal.GARBLED),
        (packet(SPO2 | {"value": float("nan")}), Refusal.GARBLED),
        (packet(SPO2).replace(b"97.0", b"1e999"), Refusal.GARBLED),
        (packet(SPO2 | {"doubt": "a" * 25}), Refusal.GARBLED),
        (packet({"signal": "SpO2", "value": 97.0}), Refusal.GARBLED),
        (packet(readings=[]), Refusal.GARBLED),
        (packet(*[SPO2] * 9), Refusal.GARBLED),
        (packet(SPO2 | {"doubt": None, "more": "x" * 1000}), Refusal.TOO_LARGE),
    ],
)
def test_what_is_no_packet_for_this_run_gives_nothing(octets: bytes, why: Refusal) -> None:
    assert taken(octets) == ({}, {why: 1})


def test_what_the_broker_has_kept_gives_nothing() -> None:
    assert taken(packet(), retained=True) == ({}, {Refusal.RETAINED: 1})


def test_a_count_that_has_not_risen_gives_nothing() -> None:
    packets = [packet(count=count) for count in (3, 3, 2, 4)]
    packets.append(packet(**{"from": "beef"}))  # started anew
    made, refusals = taken(*packets)
    assert len(made["finger"]) == 3
    assert refusals == {Refusal.REPEATED: 2}


def test_a_flood_is_bounded_and_the_newest_stay() -> None:
    packets = [packet(SPO2 | {"value": float(count)}, count=count) for count in range(1, 50)]
    made, refusals = taken(*packets)
    assert [one.value for (one,) in made["finger"]] == [7.0, 8.0, 9.0, 10.0]
    assert len(made["finger"]) == WAITING
    assert refusals == {Refusal.TOO_MANY: 39}


def test_other_messages_are_left_to_others() -> None:
    for topic in (
        "linetender/shed/far/bench/press",
        "linetender/other/forward/bench",
        "linetender/shed/forward",
        "linetender/shed/forward/bench/more",
        "",
    ):
        assert forwards().take(Received(topic, packet(), False)) is False


def test_silence_is_a_timeout_and_what_waited_is_forgotten() -> None:
    async def scene() -> float:
        here = forwards()
        sensor = here.sensor("finger")
        assert sensor is not None
        assert here.sensor("elsewhere") is None
        here.take(Received(TOPIC, packet(), False))
        await sensor.close()
        began_s = asyncio.get_running_loop().time()
        with pytest.raises(DeviceTimeout, match="linetender forward"):
            await sensor.read()
        return asyncio.get_running_loop().time() - began_s

    assert run_virtual(scene()) == pytest.approx(SILENCE_S)


def test_nobody_but_a_running_station_reads_it() -> None:
    machine: Any = None
    options = ForwardedOptions.model_validate({"from": "bench"})
    with pytest.raises(DriverConfigError, match="on that box"):
        open_forwarded("finger", options, machine, ())
