"""A simulated oximeter that sends the bytes of the Bluetooth PLX service.

Its encoder is written from the specification on its own, so that it bears witness to
the decoder instead of repeating its mistakes.
"""

import math
import struct
from collections.abc import Callable
from enum import StrEnum

from linetender_drivers.contracts import Clock
from linetender_drivers.errors import DeviceNotFound, DriverError, FailureReason

NS_PER_S = 1_000_000_000

READ_S = 0.1
"""How long reading a value takes (chosen: a connection interval or two)."""

NAN_WORD = 0x07FF
"""SFLOAT for "not a number"."""

ONGOING_AND_FULLY_QUALIFIED = 0x0120
"""Measurement status bits 5 and 8."""
UNAVAILABLE = 0x2000
"""Measurement status bit 13."""
UNCONNECTED_TO_USER = 0x000800
"""Device and sensor status bit 11."""

WITH_BOTH_STATUSES_AND_INDEX = 0x1C
"""Flags b2, b3 and b4."""

BATTERY_LEVEL = "00002a19-0000-1000-8000-00805f9b34fb"
PLX_FEATURES = "00002a60-0000-1000-8000-00805f9b34fb"
MANUFACTURER_NAME = "00002a29-0000-1000-8000-00805f9b34fb"
MODEL_NUMBER = "00002a24-0000-1000-8000-00805f9b34fb"

Vital = float | Callable[[], float]
"""A number, or what gives it at the moment of sending."""


class PeerState(StrEnum):
    """What the simulated oximeter does."""

    WORN = "worn"
    FINGER_OUT = "finger_out"
    """Sends on, with no values and the sensor unconnected to its user."""
    SILENT = "silent"
    """The link stays up and nothing comes: a frozen oximeter."""
    OUT_OF_RANGE = "out_of_range"
    """The link drops, and connecting fails."""


class SimulatedPlxPeer:
    """A simulated oximeter; scenarios and tests set its attributes at any time.

    Attributes:
        spo2_percent: Oxygen saturation to send, % (sent as a whole number).
        pulse_rate_bpm: Pulse rate to send, 1/min (sent as a whole number).
        pulse_amplitude_index_percent: Sent to a tenth of a percent.
        measurement_status: 16 bits, sent while worn.
        sensor_status: 24 bits, sent while worn.
        state: What it does.
        battery_percent: Level of its battery, 0 to 100.
        interval_s: Between notifications.
        connect_s: How long connecting takes (chosen: typical of a connect with
            service discovery).
        is_heard: Whether a packet sent now arrives; where it does not, it is lost.
        clock: Whose time it runs by.
    """

    def __init__(self, clock: Clock) -> None:
        self.spo2_percent: Vital = 97.0
        self.pulse_rate_bpm: Vital = 72.0
        self.pulse_amplitude_index_percent: Vital = 4.0
        self.measurement_status = ONGOING_AND_FULLY_QUALIFIED
        self.sensor_status = 0
        self.state = PeerState.WORN
        self.battery_percent = 87
        self.interval_s = 1.0
        self.connect_s = 0.5
        self.is_heard: Callable[[], bool] = lambda: True
        self.clock = clock

    def notification(self) -> bytes:
        """Return the bytes of a continuous measurement taken now."""
        if self.state is PeerState.FINGER_OUT:
            spo2 = pulse = index = NAN_WORD
            status, sensor = UNAVAILABLE, UNCONNECTED_TO_USER
        else:
            spo2 = sfloat_word(_now(self.spo2_percent), 0)
            pulse = sfloat_word(_now(self.pulse_rate_bpm), 0)
            index = sfloat_word(_now(self.pulse_amplitude_index_percent), -1)
            status, sensor = self.measurement_status, self.sensor_status
        head = struct.pack("<BHHH", WITH_BOTH_STATUSES_AND_INDEX, spo2, pulse, status)
        return head + struct.pack("<I", sensor)[:3] + struct.pack("<H", index)

    def value(self, characteristic: str) -> bytes | None:
        """Return the value of a characteristic that is read, or None: it has none such.

        Maker and model are invented.
        """
        return {
            BATTERY_LEVEL: bytes([self.battery_percent]),
            # Both statuses and the pulse amplitude index, with every defined bit.
            PLX_FEATURES: struct.pack("<HHI", 0x0043, 0xFFE0, 0x00FFFF)[:7],
            MANUFACTURER_NAME: b"Simulated",
            MODEL_NUMBER: b"SIM-1",
        }.get(characteristic)


class SimulatedPeerLink:
    """A radio link to the simulated oximeter; implements `contracts.NotificationLink`."""

    def __init__(self, peer: SimulatedPlxPeer) -> None:
        self._peer = peer
        self._is_open = False
        self._due_ns = 0

    async def open(self) -> None:
        """Connect and subscribe; the first notification comes one interval later.

        Raises:
            DeviceNotFound: the oximeter is out of range.
        """
        await self._peer.clock.sleep(self._peer.connect_s)
        if self._peer.state is PeerState.OUT_OF_RANGE:
            raise DeviceNotFound("simulated oximeter", "is out of radio range; bring it nearer")
        self._is_open = True
        self._due_ns = self._peer.clock.now_ns()

    async def next(self) -> bytes:
        """Wait for the next notification.

        Raises:
            DeviceNotFound: the link dropped.
            DriverError: the link is not open.
        """
        while True:
            if not self._is_open:
                raise DriverError("simulated oximeter", "is not connected", FailureReason.CLOSED)
            now_ns = self._peer.clock.now_ns()
            self._due_ns = max(now_ns, self._due_ns + round(self._peer.interval_s * NS_PER_S))
            await self._peer.clock.sleep((self._due_ns - now_ns) / NS_PER_S)
            if self._peer.state is PeerState.OUT_OF_RANGE:
                self._is_open = False
                raise DeviceNotFound("simulated oximeter", "the radio link was lost")
            if self._peer.state is not PeerState.SILENT and self._peer.is_heard():
                return self._peer.notification()

    async def value(self, characteristic: str) -> bytes | None:
        """Read another characteristic; None when the oximeter has none such.

        Raises:
            DriverError: the link is not open.
        """
        if not self._is_open:
            raise DriverError("simulated oximeter", "is not connected", FailureReason.CLOSED)
        await self._peer.clock.sleep(READ_S)
        return self._peer.value(characteristic)

    async def send(self, characteristic: str, octets: bytes) -> None:
        """Refuse: nothing can be written to this oximeter."""
        raise DriverError(
            "simulated oximeter",
            f"{characteristic} cannot be written to ({octets.hex(' ')})",
            FailureReason.WRONG_DEVICE,
        )

    async def close(self) -> None:
        """Disconnect."""
        self._is_open = False


def sfloat_word(value: float, exponent: int) -> int:
    """Encode a number as an SFLOAT word with a given exponent.

    The value is rounded to the exponent's step, halves away from zero.

    Args:
        value: Finite, or nan.
        exponent: -8 to 7.

    Raises:
        ValueError: the number does not fit: its mantissa would leave -2045 to 2045.

    Source:
        ISO/IEEE 11073-20601, SFLOAT-Type: four bits of exponent, twelve of mantissa,
        both two's complement.
    """
    if math.isnan(value):
        return NAN_WORD
    steps = value / 10.0**exponent
    mantissa = math.floor(abs(steps) + 0.5) * (1 if steps >= 0 else -1)
    if not -2045 <= mantissa <= 2045:
        raise ValueError(f"{value} at exponent {exponent} does not fit an SFLOAT")
    return (exponent % 16) * 4096 + mantissa % 4096


def _now(vital: Vital) -> float:
    return vital() if callable(vital) else vital
