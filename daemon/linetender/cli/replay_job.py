"""One file of the verb `replay`: what is done with it, here or in a process of its own."""

import copy
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from linetender.cli.frame_decoder import FrameDecoder, Redecoded
from linetender.core.plan import Plan
from linetender.recording.errors import Fault, RecordingError
from linetender.recording.lines import Segment
from linetender.recording.replay import Outcome, replay_file
from linetender.recording.what_if import Comparison, PlanFor, compare
from linetender.recording.window import Window
from linetender.settings.load import station_of
from linetender.settings.problems import StationFileError
from linetender.settings.remembered import NOTHING, remembered_of
from linetender.settings.toml_file import TomlFile, read_toml

RADIO_ADDRESS = ".options.address"
"""Ends the name of a private field that a plan can be made without."""

Told = Callable[[int, int], None]


@dataclass(frozen=True)
class Redecoding:
    """What came of decoding the frames of a recording anew.

    Attributes:
        outcome: Of the replay with the readings decoded anew.
        frames: How many there are.
        decoded: How many readings were made anew.
        differing: How many of them are not what was recorded.
        differences: The first of those.
    """

    outcome: Outcome
    frames: int
    decoded: int
    differing: int
    differences: tuple[Redecoded, ...]

    @property
    def session_s(self) -> float:
        """Length of what was replayed (s)."""
        return self.outcome.session_s


Replayed = Outcome | Comparison | Redecoding


@dataclass(frozen=True)
class Job:
    """What is wanted of one file.

    Attributes:
        path: The recording.
        window: Which part of the session is compared.
        station: Another station file to compare with, or None.
        rules: Another rule file to compare with, or None.
        from_frames: Whether readings are decoded anew from recorded frames.
    """

    path: Path
    window: Window
    station: Path | None = None
    rules: Path | None = None
    from_frames: bool = False

    def do(self, told: Told = lambda bytes_read, size_bytes: None) -> Replayed:
        """Do it.

        Raises:
            RecordingError: the recording cannot be read.
            StationFileError: the other settings are not in order.
        """
        if self.from_frames:
            return self._from_frames(told)
        if self.station is None and self.rules is None:
            return replay_file(self.path, window=self.window, told=told)
        return compare(self.path, self._plan_for(), window=self.window, told=told)

    def do_or_say(self) -> Replayed | str:
        """Do it, and return what stands against it as text: such errors cross no process."""
        try:
            return self.do()
        except (RecordingError, StationFileError) as error:
            return str(error)

    def _from_frames(self, told: Told) -> Redecoding:
        decoder = FrameDecoder(self.path)
        outcome = replay_file(self.path, window=self.window, anew=decoder, told=told)
        if not decoder.frames:
            raise RecordingError(
                Fault.NO_FRAMES,
                self.path,
                "it holds no frames to decode",
                "Record with `raw_frames = true` in [recording], or leave out --from-frames",
            )
        return Redecoding(
            outcome, decoder.frames, decoder.decoded, decoder.differing, tuple(decoder.differences)
        )

    def _plan_for(self) -> PlanFor:
        if self.station is None:
            return self._plan_of_header
        path, read = self.station, read_toml(self.station)
        toml = self._with_rules(read, read.data)
        return lambda header: _compiled(toml, path, header)

    def _plan_of_header(self, header: Segment) -> Plan:
        """Compile what the header says of the station file, with other rules."""
        data = copy.deepcopy(header.settings)
        for name in header.private:
            if name.startswith("devices.") and name.endswith(RADIO_ADDRESS):
                device = name.removeprefix("devices.").removesuffix(RADIO_ADDRESS)
                data["devices"][device]["options"]["address"] = "only"
        toml = TomlFile(f"settings in {self.path}", data, {})
        return _compiled(self._with_rules(toml, data), self.path, header)

    def _with_rules(self, toml: TomlFile, data: dict[str, Any]) -> TomlFile:
        if self.rules is None:
            return toml
        rules = {**data.get("rules", {}), "base": str(self.rules.resolve())}
        return TomlFile(toml.file, {**data, "rules": rules}, toml.lines)


def _compiled(toml: TomlFile, path: Path, header: Segment) -> Plan:
    """Compile settings with what was taught and calibrated when the recording was made."""
    try:
        remembered = remembered_of(header.calibrations)
    except ValueError as error:
        problem = toml.problem(("calibrations",), str(error), "take another recording")
        raise StationFileError([problem]) from error
    try:
        return station_of(toml, path, recall=lambda _: remembered).plan
    except StationFileError:
        if remembered == NOTHING:
            raise
    return station_of(toml, path).plan  # this file states for itself what was taught
