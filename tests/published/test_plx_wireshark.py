"""Our PLX decoder against Wireshark's, which nobody here wrote.

The notifications are written as a capture of an ATT link (pcap, link type 201:
Bluetooth HCI H4 with a direction) whose first packets declare handle 0x11 to be
characteristic 0x2A5F. Source of the witness: tshark (seen with 4.0.17), dissector of
the Bluetooth Attribute Protocol.
"""

import json
import shutil
import struct
import subprocess
from pathlib import Path
from typing import Any

import pytest

from linetender_drivers.oximeter.plx_decode import (
    MeasurementStatus,
    PlxContinuous,
    PulsePair,
    SensorStatus,
    SfloatSpecial,
    decode_plx_continuous,
)
from linetender_drivers.oximeter.plx_features_decode import PlxFeature, decode_plx_features
from linetender_drivers.oximeter.plx_spot_check_decode import PlxSpotCheck, decode_plx_spot_check
from linetender_drivers.simulated.plx_peer import PeerState, SimulatedPlxPeer
from linetender_drivers.simulated.virtual_time import VirtualClock

TSHARK = shutil.which("tshark")

pytestmark = pytest.mark.skipif(
    TSHARK is None, reason="NOT CHECKED against Wireshark: install tshark (apt install tshark)"
)

HANDLE = 0x11
SPECIALS = {
    "NaN": SfloatSpecial.NAN,
    "NRes": SfloatSpecial.NOT_AT_THIS_RESOLUTION,
    "+INFINITY": SfloatSpecial.PLUS_INFINITY,
    "-INFINITY": SfloatSpecial.MINUS_INFINITY,
    "RFU": SfloatSpecial.RESERVED,
}
PLAIN_FRAMES = [
    "0c62004e002000000000",
    "0061003c00",
    "00cff3d5f2",
    "00caf358f2",
    "000a100a10",
    "0000000000",
    "0161003c0060003d00",
    "0261003c0062003b00",
    "04ff07ff070020",
    "08ff07ff07008000",
    "1061003c0019f0",
    "1fcff348006100490062004700200120000019f0",
    "000008fe07",
    "0002080108",
    "00fd070308",
    "e061003c00",
]
SPOT_CHECKS = [
    "17 61 00 60 00 e1 07 01 01 01 22 13 20 00 20 00 00",
    "00 62 00 4b 00",
    "0f cf f3 48 00 ea 07 01 02 03 04 05 00 01 20 00 00 19 f0",
    "13 61 00 3c 00 00 00 00 00 00 00 00 00 02",
]
MEASUREMENT_NAMES = {
    MeasurementStatus.ONGOING: "measurement_ongoing",
    MeasurementStatus.EARLY_ESTIMATE: "early_estimated_data",
    MeasurementStatus.VALIDATED: "validated_data",
    MeasurementStatus.FULLY_QUALIFIED: "fully_qualified_data",
    MeasurementStatus.FROM_STORAGE: "data_from_measurement_storage",
    MeasurementStatus.DEMONSTRATION: "data_for_demonstration",
    MeasurementStatus.TESTING: "data_for_testing",
    MeasurementStatus.CALIBRATION: "calibration_ongoing",
    MeasurementStatus.UNAVAILABLE: "measurement_unavailable",
    MeasurementStatus.QUESTIONABLE: "questionable_measurement_detected",
    MeasurementStatus.INVALID: "invalid_measurement_detected",
}
SENSOR_NAMES = {
    SensorStatus.EXTENDED_DISPLAY_UPDATE: "extended_display_update_ongoing",
    SensorStatus.EQUIPMENT_MALFUNCTION: "equipment_malfunction_detected",
    SensorStatus.PROCESSING_IRREGULARITY: "signal_processing_irregularity_detected",
    SensorStatus.INADEQUATE_SIGNAL: "inadequate_signal_detected",
    SensorStatus.POOR_SIGNAL: "poor_signal_detected",
    SensorStatus.LOW_PERFUSION: "low_perfusion_detected",
    SensorStatus.ERRATIC_SIGNAL: "erratic_signal_detected",
    SensorStatus.NONPULSATILE_SIGNAL: "non_pulsatile_signal_detected",
    SensorStatus.QUESTIONABLE_PULSE: "questionable_pulse_detected",
    SensorStatus.ANALYSIS_ONGOING: "signal_analysis_ongoing",
    SensorStatus.INTERFERENCE: "interference_detected",
    SensorStatus.UNCONNECTED_TO_USER: "unconnected_to_user",
    SensorStatus.UNKNOWN_SENSOR: "unknown_sensor_connected",
    SensorStatus.DISPLACED: "sensor_displaced",
    SensorStatus.MALFUNCTIONING: "sensor_malfunctioning",
    SensorStatus.DISCONNECTED: "sensor_disconnected",
}


FEATURE_NAMES = {
    PlxFeature.MEASUREMENT_STATUS: "measurement_status",
    PlxFeature.SENSOR_STATUS: "device_and_sensor_status",
    PlxFeature.STORED_SPOT_CHECKS: "measurement_storage_for_spot_check",
    PlxFeature.SPOT_CHECK_TIME: "timestamp_storage_for_spot_check",
    PlxFeature.FAST: "spo2pr_fast",
    PlxFeature.SLOW: "spo2pr_slow",
    PlxFeature.PULSE_AMPLITUDE_INDEX: "pulse_amplitude_index",
    PlxFeature.MULTIPLE_BONDS: "multiple_bonds",
}


def dissected(frames: list[bytes], folder: Path) -> list[dict[str, Any]]:
    """Return Wireshark's fields of each notification of a continuous measurement."""
    packets = [_packet(1, struct.pack("<BH", 0x1B, HANDLE) + frame) for frame in frames]
    return _dissect(packets, 0x2A5F, 0x1B, folder)


def _dissect(
    packets: list[bytes], characteristic: int, opcode: int, folder: Path
) -> list[dict[str, Any]]:
    capture = folder / "notifications.pcap"
    ask = bytes.fromhex("080100ffff0328")
    declare = b"\x09\x07" + struct.pack("<HBHH", HANDLE - 1, 0x10, HANDLE, characteristic)
    packets = [_packet(0, ask), _packet(1, declare), *packets]
    with capture.open("wb") as file:
        file.write(struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 0xFFFF, 201))
        for second, packet in enumerate(packets):
            file.write(struct.pack("<IIII", second, 0, len(packet), len(packet)) + packet)
    command = [str(TSHARK), "-r", str(capture), "-Y", f"btatt.opcode == {opcode}"]
    command += ["-T", "json", "--no-duplicate-keys"]
    environment = {"HOME": str(folder), "PATH": "/usr/bin:/bin", "LC_ALL": "C"}
    done = subprocess.run(
        command, env=environment, capture_output=True, text=True, timeout=60, check=True
    )
    return [packet["_source"]["layers"]["btatt"] for packet in json.loads(done.stdout)]


def _packet(direction: int, att: bytes) -> bytes:
    l2cap = struct.pack("<HH", len(att), 4) + att
    handle_and_flags = 0x2040 if direction else 0x0040
    acl = struct.pack("<BHH", 0x02, handle_and_flags, len(l2cap)) + l2cap
    return struct.pack(">I", direction) + acl


def ending(of: dict[str, Any], name: str) -> Any:
    found = [value for key, value in of.items() if key.endswith("." + name)]
    assert len(found) <= 1
    return found[0] if found else None


def number(text: str) -> float | SfloatSpecial:
    return SPECIALS[text] if text in SPECIALS else float(text)


def as_ours(layer: dict[str, Any]) -> PlxContinuous:
    """Turn Wireshark's fields into our struct."""

    def pair(name: str) -> PulsePair | None:
        values = layer.get(f"btatt.plxs.spo2pr_{name}")
        if values is None:
            return None
        return PulsePair(number(ending(values, "spo2")), number(ending(values, "pulse_rate")))

    status, sensor = ending(layer, "measurement_status"), ending(layer, "device_and_sensor_status")
    index = ending(layer, "pulse_amplitude_index")
    normal = pair("normal")
    assert normal is not None
    return PlxContinuous(
        normal=normal,
        fast=pair("fast"),
        slow=pair("slow"),
        measurement_status=None if status is None else MeasurementStatus(int(status, 16)),
        sensor_status=None if sensor is None else SensorStatus(int(sensor, 16)),
        pulse_amplitude_index_percent=None if index is None else number(index),
    )


def as_our_spot_check(layer: dict[str, Any]) -> PlxSpotCheck:
    """Turn Wireshark's fields of an indication into our struct."""
    pair = layer["btatt.plxs.spo2pr_spot_check"]
    stamp = layer.get("btatt.plxs.spot_check_measurement.timestamp")
    status, sensor = ending(layer, "measurement_status"), ending(layer, "device_and_sensor_status")
    index = ending(layer, "pulse_amplitude_index")
    flags = layer["btatt.plxs.spot_check_measurement.flags_tree"]
    parts = ("year", "month", "day", "hours", "minutes", "seconds")
    fields = None if stamp is None else stamp["btgatt.uuid0x2a08"]
    return PlxSpotCheck(
        normal=PulsePair(number(ending(pair, "spo2")), number(ending(pair, "pulse_rate"))),
        time=None if fields is None else tuple(int(fields[f"btatt.{part}"]) for part in parts),  # type: ignore[arg-type]
        measurement_status=None if status is None else MeasurementStatus(int(status, 16)),
        sensor_status=None if sensor is None else SensorStatus(int(sensor, 16)),
        pulse_amplitude_index_percent=None if index is None else number(index),
        is_clock_unset=ending(flags, "device_clock_is_not_set") == "1",
    )


def peer_frames() -> list[bytes]:
    peer = SimulatedPlxPeer(VirtualClock())
    frames = [peer.notification()]
    peer.spo2_percent, peer.pulse_rate_bpm, peer.sensor_status = 84.6, 131.2, 0x000020
    peer.pulse_amplitude_index_percent = 0.37
    frames.append(peer.notification())
    peer.state = PeerState.FINGER_OUT
    return [*frames, peer.notification()]


def test_worked_frames_and_those_of_the_simulated_peer_mean_the_same(tmp_path: Path) -> None:
    frames = [bytes.fromhex(frame) for frame in PLAIN_FRAMES] + peer_frames()
    ours = [decode_plx_continuous("ox", frame) for frame in frames]
    assert ours == [as_ours(layer) for layer in dissected(frames, tmp_path)]


def test_worked_spot_checks_mean_the_same(tmp_path: Path) -> None:
    frames = [bytes.fromhex(frame) for frame in SPOT_CHECKS]
    packets = [_packet(1, struct.pack("<BH", 0x1D, HANDLE) + frame) for frame in frames]
    ours = [decode_plx_spot_check("ox", frame) for frame in frames]
    layers = _dissect(packets, 0x2A5E, 0x1D, tmp_path)
    assert ours == [as_our_spot_check(layer) for layer in layers]


def test_features_mean_the_same(tmp_path: Path) -> None:
    value = bytes.fromhex("4f 00 e0 01 20 08 00")
    read = [_packet(0, struct.pack("<BH", 0x0A, HANDLE)), _packet(1, b"\x0b" + value)]
    (layer,) = _dissect(read, 0x2A60, 0x0B, tmp_path)
    ours = decode_plx_features("ox", value)
    names = ("supported_features", "measurement_status", "device_and_sensor_status")
    theirs = [int(ending(layer, name), 16) for name in names]
    assert theirs == [ours.features, ours.measurement_status, ours.sensor_status]
    set_bits = {
        name.rpartition(".")[2]
        for name, bit in layer["btatt.plxs.features.supported_features_tree"].items()
        if bit == "1"
    }
    assert set_bits == {
        FEATURE_NAMES[feature] for feature in PlxFeature if feature in ours.features
    }


def test_every_status_bit_has_the_same_name(tmp_path: Path) -> None:
    frames = [
        bytes.fromhex("0461003c00") + bit.value.to_bytes(2, "little") for bit in MEASUREMENT_NAMES
    ] + [bytes.fromhex("0861003c00") + bit.value.to_bytes(3, "little") for bit in SENSOR_NAMES]

    def named(layer: dict[str, Any]) -> list[str]:
        (bits,) = [value for key, value in layer.items() if key.endswith("status_tree")]
        return [name.rpartition(".")[2] for name, value in bits.items() if value == "1"]

    names = [*MEASUREMENT_NAMES.values(), *SENSOR_NAMES.values()]
    assert [named(layer) for layer in dissected(frames, tmp_path)] == [[name] for name in names]
    assert (list(MEASUREMENT_NAMES), list(SENSOR_NAMES)) == (
        list(MeasurementStatus),
        list(SensorStatus),
    )
