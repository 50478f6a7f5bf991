"""Decodes recorded frames anew, with the drivers that are installed now."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from linetender.core.inputs import Input, Reading, reading
from linetender.core.signals import Signal
from linetender.recording.errors import Fault, RecordingError
from linetender.recording.lines import Frame, Segment
from linetender.recording.reader import Block
from linetender_drivers.errors import DriverError
from linetender_drivers.measurements import Measurement
from linetender_drivers.registry import find_spec

DIFFERENCES_KEPT = 20
"""Chosen: the first few say what a decoder does otherwise."""

Decode = Callable[[bytes], tuple[Measurement, ...]]


class Redecoded(NamedTuple):
    """A reading that is decoded otherwise now.

    Attributes:
        recorded: As it was.
        now: As it is.
    """

    recorded: Reading
    now: Reading


@dataclass
class _Source:
    """One device: how it decodes, and its last answer that no reading has used yet."""

    decode: Decode
    fresh: Frame | None = None
    used_ns: int = -1
    made: dict[str, Measurement] | str | None = None


class FrameDecoder:
    """Replaces each reading that was made of a recorded frame by what that frame gives now.

    A reading belongs to the last answer of its device before it, unless an earlier
    reading has used that: then no answer came (a timeout, a lost link), and the reading
    stays as it was recorded. So does one of a driver that decodes no single answer.

    Attributes:
        frames: How many were read.
        decoded: How many readings were made anew.
        differing: How many of them are not what was recorded.
        differences: The first of those.
    """

    def __init__(self, path: Path) -> None:
        """Prepare; the recording's path is for messages."""
        self.frames = 0
        self.decoded = 0
        self.differing = 0
        self.differences: list[Redecoded] = []
        self._path = path
        self._sources: dict[str, _Source] = {}

    def begin(self, header: Segment) -> None:
        """Find the drivers of a segment's devices.

        Raises:
            RecordingError: a driver is not installed, or does not take its options.
        """
        devices = header.settings.get("devices", {})
        try:
            decoders = {
                name: _decode_of(name, table, header.private) for name, table in devices.items()
            }
        except (LookupError, ValueError, TypeError, AttributeError) as error:
            raise RecordingError(
                Fault.NO_FRAMES,
                self._path,
                f"its frames cannot be decoded here: {error}",
                "Install the driver that it names, or replay it without --from-frames",
            ) from error
        self._sources = {
            name: _Source(decode) for name, decode in decoders.items() if decode is not None
        }

    def inputs(self, block: Block) -> list[Input]:
        """Return a block's inputs, with readings decoded anew."""
        self.frames += len(block.frames)
        waiting = list(reversed(block.frames))
        made: list[Input] = []
        for item in block.inputs:
            while waiting and waiting[-1].arrived_ns <= item.arrived_ns:
                self._arrive(waiting.pop())
            made.append(self._anew(item) if isinstance(item, Reading) else item)
        while waiting:
            self._arrive(waiting.pop())
        return made

    def _arrive(self, frame: Frame) -> None:
        source = self._sources.get(frame.source)
        if source is not None:
            source.fresh = frame

    def _anew(self, item: Reading) -> Reading:
        source = self._sources.get(item.source)
        if source is None:
            return item
        if source.fresh is not None:
            source.made = self._decoded(source, source.fresh)
            source.fresh = None
            source.used_ns = item.arrived_ns
        elif source.used_ns != item.arrived_ns:
            return item
        now = _reading_of(item, source.made)
        if now is None:
            return item
        self.decoded += 1
        if now != item:
            self.differing += 1
            if len(self.differences) < DIFFERENCES_KEPT:
                self.differences.append(Redecoded(item, now))
        return now

    def _decoded(self, source: _Source, frame: Frame) -> dict[str, Measurement] | str:
        """Return what a frame gives, by signal, or the reason why it gives nothing."""
        try:
            data = bytes.fromhex(frame.hex)
        except ValueError as error:
            raise RecordingError(
                Fault.BAD_LINE,
                self._path,
                f"a frame of {frame.source} is not written in hexadecimal digits: {error}",
                "Something else than linetender made or changed the file",
            ) from error
        try:
            return {one.signal: one for one in source.decode(data)}
        except DriverError as error:
            return error.reason.value


def _reading_of(item: Reading, made: dict[str, Measurement] | str | None) -> Reading | None:
    if isinstance(made, str):
        return reading(item.arrived_ns, item.signal, reason=made, source=item.source)
    one = (made or {}).get(item.signal.value)
    if one is None:
        return None
    return reading(
        item.arrived_ns,
        item.signal,
        one.value,
        one.reason,
        doubt=one.doubt,
        source=item.source,
        device_time=one.device_time,
    )


def _decode_of(name: str, table: dict[str, Any], private: tuple[str, ...]) -> Decode | None:
    spec = find_spec(table["driver"])
    decode = spec.decoder()
    if decode is None or not table.get("signals"):
        return None
    options = dict(table.get("options", {}))
    if f"devices.{name}.options.address" in private:
        options["address"] = "only"  # no header names a person's own device
    validated = spec.options.model_validate(options)
    roles = tuple(Signal(signal).value for signal in table["signals"])
    return lambda frame: tuple(decode(name, validated, roles, frame))
