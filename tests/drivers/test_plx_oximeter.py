"""The oximeter driver with its simulated peer, in virtual time."""

from collections.abc import Callable
from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from linetender_drivers.errors import (
    BadFrame,
    DeviceNotFound,
    DeviceTimeout,
    DriverError,
    FailureReason,
)
from linetender_drivers.measurements import Measurement
from linetender_drivers.oximeter.battery import battery_measurement
from linetender_drivers.oximeter.plx import open_oximeter
from linetender_drivers.oximeter.plx_decode import MeasurementStatus, SensorStatus, decode_sfloat
from linetender_drivers.oximeter.plx_description import OximeterDescription
from linetender_drivers.oximeter.plx_features_decode import PlxFeature, PlxFeatures
from linetender_drivers.oximeter.plx_spec import PLX_SIGNALS, PlxOptions
from linetender_drivers.registry import Kind, find_spec
from linetender_drivers.simulated.plx_peer import (
    PeerState,
    SimulatedPeerLink,
    SimulatedPlxPeer,
    sfloat_word,
)
from linetender_drivers.simulated.virtual_time import VirtualClock, run_virtual

MS = 1_000_000
BOTH = ("spo2_percent", "pulse_rate_bpm")


def bench() -> tuple[Any, SimulatedPlxPeer, list[tuple[str, str, str]]]:
    clock, asked = VirtualClock(), []
    peer = SimulatedPlxPeer(clock)

    def notifications(address: str, service: str, characteristic: str) -> SimulatedPeerLink:
        asked.append((address, service, characteristic))
        return SimulatedPeerLink(peer)

    return SimpleNamespace(clock=clock, notifications=notifications), peer, asked


def oximeter(machine: Any, signals: tuple[str, ...] = BOTH) -> Any:
    return open_oximeter("finger", PlxOptions(address="simulated"), machine, signals)


def test_a_second_apart_with_the_numbers_of_that_moment() -> None:
    async def scene() -> list[tuple[int, list[float | None]]]:
        machine, peer, asked = bench()
        peer.spo2_percent = lambda: 98.0 - machine.clock.now_ns() // (1_000 * MS)
        sensor = oximeter(machine, (*BOTH, "pulse_amplitude_index_percent"))
        await sensor.open()
        got = []
        for _ in range(3):
            values = [one.value for one in await sensor.read()]
            got.append((machine.clock.now_ns() // MS, values))
        await sensor.close()
        assert asked == [
            (
                "simulated",
                "00001822-0000-1000-8000-00805f9b34fb",
                "00002a5f-0000-1000-8000-00805f9b34fb",
            )
        ]
        return got

    assert run_virtual(scene()) == [
        (1500, [97.0, 72.0, 4.0]),
        (2500, [96.0, 72.0, 4.0]),
        (3500, [95.0, 72.0, 4.0]),
    ]


def test_only_wanted_signals_are_given() -> None:
    async def scene() -> tuple[Measurement, ...]:
        machine, _, _ = bench()
        sensor = oximeter(machine, ("spo2_percent",))
        await sensor.open()
        made: tuple[Measurement, ...] = await sensor.read()
        return made

    assert run_virtual(scene()) == (Measurement("spo2_percent", 97.0),)


def change_to_weak(peer: SimulatedPlxPeer) -> None:
    peer.sensor_status = 0x000020


def change_to_finger_out(peer: SimulatedPlxPeer) -> None:
    peer.state = PeerState.FINGER_OUT


@pytest.mark.parametrize(
    ("change", "made"),
    [
        (
            change_to_weak,
            (
                Measurement("spo2_percent", 97.0, doubt="low_perfusion"),
                Measurement("pulse_rate_bpm", 72.0, doubt="low_perfusion"),
            ),
        ),
        (
            change_to_finger_out,
            (
                Measurement("spo2_percent", reason="finger_out"),
                Measurement("pulse_rate_bpm", reason="finger_out"),
            ),
        ),
    ],
)
def test_what_the_finger_does_is_told_and_mends(
    change: Callable[[SimulatedPlxPeer], None], made: tuple[Measurement, ...]
) -> None:
    async def scene() -> list[tuple[Measurement, ...]]:
        machine, peer, _ = bench()
        sensor = oximeter(machine)
        await sensor.open()
        change(peer)
        first = await sensor.read()
        peer.state, peer.sensor_status = PeerState.WORN, 0
        return [first, await sensor.read()]

    good = (Measurement("spo2_percent", 97.0), Measurement("pulse_rate_bpm", 72.0))
    assert run_virtual(scene()) == [made, good]


def test_silence_is_a_timeout_within_the_deadline_until_the_link_is_made_anew() -> None:
    async def scene() -> tuple[int, int, int]:
        machine, peer, _ = bench()
        sensor = oximeter(machine)
        await sensor.open()
        peer.state = PeerState.SILENT
        started_ns = machine.clock.now_ns()
        with pytest.raises(DeviceTimeout, match="sent nothing for 8 s"):
            await sensor.read()
        waited_ns = machine.clock.now_ns() - started_ns
        assert waited_ns < sensor.read_deadline_s * 1e9
        peer.state = PeerState.WORN
        with pytest.raises(DeviceTimeout):
            await sensor.read()
        at_once_ns = machine.clock.now_ns() - started_ns - waited_ns
        await sensor.close()
        await sensor.open()
        return waited_ns // MS, at_once_ns, len(await sensor.read())

    assert run_virtual(scene()) == (8000, 0, 2)


def test_the_battery_is_read_once_a_minute_beside_the_measurements() -> None:
    async def scene() -> list[tuple[int, float | None]]:
        machine, peer, _ = bench()
        sensor = oximeter(machine, ("spo2_percent", "oximeter_battery_percent"))
        await sensor.open()
        got = []
        for _ in range(125):
            spo2, *battery = await sensor.read()
            assert spo2 == Measurement("spo2_percent", 97.0)
            got += [(machine.clock.now_ns() // MS, one.value) for one in battery]
            if battery:
                peer.battery_percent = 41
        await sensor.close()
        return got

    # Asked with the first measurement at 1.5 s, so told with the one after it.
    assert run_virtual(scene()) == [(2500, 87.0), (62500, 41.0), (122500, 41.0)]


@pytest.mark.parametrize(
    ("value", "made"),
    [
        (b"\x00", Measurement("oximeter_battery_percent", 0.0)),
        (b"\x64", Measurement("oximeter_battery_percent", 100.0)),
        (b"\x65", Measurement("oximeter_battery_percent", reason="out_of_range")),
        (b"", Measurement("oximeter_battery_percent", reason="bad_frame")),
        (b"\x10\x10", Measurement("oximeter_battery_percent", reason="bad_frame")),
        (None, Measurement("oximeter_battery_percent", reason="not_sent")),
    ],
)
def test_a_battery_level_is_0_to_100_percent_or_none(
    value: bytes | None, made: Measurement
) -> None:
    assert battery_measurement(value) == made


def test_what_the_oximeter_says_of_itself() -> None:
    async def scene() -> OximeterDescription:
        machine, _, _ = bench()
        sensor = oximeter(machine)
        with pytest.raises(DriverError, match="is not open"):
            await sensor.description()
        await sensor.open()
        said: OximeterDescription = await sensor.description()
        return said

    assert run_virtual(scene()) == OximeterDescription(
        maker="Simulated",
        model="SIM-1",
        features=PlxFeatures(
            PlxFeature.MEASUREMENT_STATUS
            | PlxFeature.SENSOR_STATUS
            | PlxFeature.PULSE_AMPLITUDE_INDEX,
            MeasurementStatus(0xFFE0),
            SensorStatus(0x00FFFF),
        ),
    )


def test_a_spot_check_carries_the_devices_own_time_and_has_a_minute_to_come() -> None:
    class SpotLink:
        async def open(self) -> None: ...

        async def next(self) -> bytes:
            return bytes.fromhex("0fcff34800ea0701020304050001200000" + "19f0")

        async def close(self) -> None: ...

    asked = []

    def notifications(*place: str) -> SpotLink:
        asked.append(place[2])
        return SpotLink()

    async def scene() -> tuple[float, tuple[Measurement, ...]]:
        options = PlxOptions(address="simulated", measurement="spot_check")
        machine: Any = SimpleNamespace(notifications=notifications)
        sensor = open_oximeter("finger", options, machine, BOTH)
        await sensor.open()
        return sensor.read_deadline_s, await sensor.read()

    taken = datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC).timestamp()
    assert run_virtual(scene()) == (
        62.0,
        (
            Measurement("spo2_percent", 97.5, doubt="low_perfusion", device_time=taken),
            Measurement("pulse_rate_bpm", 72.0, doubt="low_perfusion", device_time=taken),
        ),
    )
    assert asked == ["00002a5e-0000-1000-8000-00805f9b34fb"]


def test_out_of_range_drops_the_link_and_refuses_a_new_one_until_back() -> None:
    async def scene() -> list[float | None]:
        machine, peer, _ = bench()
        sensor = oximeter(machine)
        await sensor.open()
        peer.state = PeerState.OUT_OF_RANGE
        with pytest.raises(DeviceNotFound, match="link was lost"):
            await sensor.read()
        with pytest.raises(DriverError, match="is not connected"):
            await sensor.read()
        await sensor.close()
        with pytest.raises(DeviceNotFound, match="out of radio range"):
            await oximeter(machine).open()
        peer.state = PeerState.WORN
        with pytest.raises(DriverError) as refused:
            await sensor.read()
        assert refused.value.reason is FailureReason.CLOSED
        await sensor.open()
        return [one.value for one in await sensor.read()]

    assert run_virtual(scene()) == [97.0, 72.0]


def test_a_frame_cut_short_names_the_device_and_shows_the_bytes() -> None:
    class CutLink:
        async def open(self) -> None: ...

        async def next(self) -> bytes:
            return bytes.fromhex("0461003c00")

        async def close(self) -> None: ...

    async def scene() -> None:
        machine = SimpleNamespace(notifications=lambda *_: CutLink())
        sensor = oximeter(machine)
        await sensor.open()
        with pytest.raises(BadFrame, match=r"finger: .*cut short \(bytes 04 61 00 3c 00\)"):
            await sensor.read()

    run_virtual(scene())


@given(st.integers(-2045, 2045), st.integers(-8, 7))
def test_the_peers_own_encoder_and_the_decoder_agree(mantissa: int, exponent: int) -> None:
    value = float(f"{mantissa}e{exponent}")
    word = sfloat_word(value, exponent)
    assert word not in (0x07FE, 0x07FF, 0x0800, 0x0801, 0x0802)
    assert decode_sfloat(word) == value


def test_the_peers_encoder_refuses_what_does_not_fit() -> None:
    assert sfloat_word(float("nan"), 0) == 0x07FF
    assert [sfloat_word(2.5, 0), sfloat_word(-2.5, 0)] == [3, 0x0FFD]
    with pytest.raises(ValueError, match="does not fit"):
        sfloat_word(204.6, -1)


def test_the_driver_is_installed_under_its_name() -> None:
    spec = find_spec("plx_oximeter")
    options = spec.options(address="simulated")
    assert (spec.kind, spec.opener()) == (Kind.SENSOR, open_oximeter)
    assert options.is_simulated
    assert spec.provides(options) == PLX_SIGNALS


def test_addresses_are_upper_case_and_nothing_else() -> None:
    found = PlxOptions(address="c0:ff:ee:00:18:22")
    assert (found.address, found.is_simulated) == ("C0:FF:EE:00:18:22", False)
    assert PlxOptions(address="only").address == "only"
    for wrong in ("", "C0:FF:EE:00:18", "C0-FF-EE-00-18-22", "oximeter", "C0:FF:EE:00:18:22\n", 1):
        with pytest.raises(ValidationError):
            PlxOptions(address=wrong)
