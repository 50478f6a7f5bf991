"""Files that somebody hands over: configuration, recordings, kept state."""

import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path

import msgspec

from fuzz.door import Door, no_false_readings, one_line
from linetender.core.plan_faults import fault_of_plan
from linetender.core.watch import Watch
from linetender.recording.errors import RecordingError
from linetender.recording.replay import replay_file
from linetender.runtime.carryover_file import FILE_NAME, KeptState, load_carryover
from linetender.settings.forward_file import load_forwarding
from linetender.settings.load import load_station
from linetender.settings.problems import StationFileError
from linetender.settings.shipped import shipped
from linetender.settings.sounder_file import load_sounder
from linetender.simulation.scenario import load_scenario
from linetender_drivers.oximeter.packet_file import PacketFileError, load_packet_description
from recording.sessions import PLAN, Content, small_recording, with_right_digits

GOLDEN = Path(__file__).resolve().parents[1] / "recordings"


@cache
def _folder() -> Path:
    """Return a folder in memory, where there is one: the disk is not what is tested."""
    at = "/dev/shm" if Path("/dev/shm").is_dir() else None
    made = tempfile.TemporaryDirectory(dir=at)
    _KEPT.append(made)
    return Path(made.name)


_KEPT: list[tempfile.TemporaryDirectory[str]] = []


def _toml(load: Callable[[Path], object]) -> Callable[[bytes], None]:
    def take(data: bytes) -> None:
        path = _folder() / "handed.toml"
        path.write_bytes(data)
        try:
            load(path)
        except StationFileError as error:
            assert error.problems
            for each in error.problems:
                assert each.expected and each.remedy, each
                assert "\n" not in each.text, each
        except PacketFileError as error:
            one_line(str(error))

    return take


def _station(path: Path) -> None:
    station = load_station(path)
    assert fault_of_plan(station.plan) is None
    assert any(rule.loss_of_air for rule in station.plan.rules)
    Watch(station.plan, 0).advance(3600 * 10**9)


def _read(data: bytes, suffix: str = ".jsonl") -> None:
    path = _folder() / f"handed{suffix}"
    path.write_bytes(data)
    try:
        no_false_readings(Content(path).inputs)
        replay_file(path)
    except RecordingError as error:
        assert str(path) in str(error)
        one_line(str(error))


def _read_mended(data: bytes) -> None:
    _read(with_right_digits(data))


def _kept(data: bytes) -> None:
    (_folder() / FILE_NAME).write_bytes(data)
    carryover = load_carryover(_folder(), "boot", PLAN)
    if carryover is not None:
        Watch(PLAN, 0, carryover).advance(3600 * 10**9)


def _beginning(name: str, checks: int) -> bytes:
    """Return a golden recording up to one of its check lines."""
    lines = (GOLDEN / name).read_bytes().splitlines(keepends=True)
    ends = [number for number, line in enumerate(lines, 1) if line.startswith(b'{"is":"check"')]
    return b"".join(lines[: ends[checks]])


def _shipped(pattern: str, folder: str = "config") -> tuple[bytes, ...]:
    return tuple(path.read_bytes() for path in sorted(shipped(folder).glob(pattern)))


KEPT = msgspec.json.encode(KeptState("boot", 5, Watch(PLAN, 0).carryover(), PLAN.air, 1.0))

TOML_WORDS = tuple(
    word.encode()
    for word in (
        "[station]", "[devices.air]", "[rules.change.air_low]", "[broker]", "[[far_end]]",
        "schema = 1", "options = { ", "nan", "inf", "-1", "1e308", "0x25", "true", '"required"',
        '"""', "'''", "[[contacts]]", "[recording]", "limit = ", "signals = ", "below = ",
    )
)  # fmt: skip

JSON_WORDS = (
    b'{"is":"reading","arrived_ns":', b'"signal":"duct_pressure_pa"', b'"value":', b"null",
    b'{"is":"check","lines":', b',"until_ns":', b'{"is":"end"', b'{"is":"segment"', b'"parts":{',
    b"1e308", b"-1", b"9223372036854775807", b"true", b"[[[[", b"]]]]", b'"\\ud800"', b"NaN",
)  # fmt: skip

FILE_DOORS = (
    Door("station file", _toml(_station), _shipped("*.toml"), TOML_WORDS, 8192),
    Door("second box's file", _toml(load_sounder), _shipped("second_boxes/bench.toml"), TOML_WORDS),
    Door(
        "forwarder's file", _toml(load_forwarding), _shipped("second_boxes/*ward.toml"), TOML_WORDS
    ),
    Door(
        "packet description",
        _toml(load_packet_description),
        _shipped("packets/*.toml"),
        TOML_WORDS,
        6000,
    ),
    Door("scenario", _toml(load_scenario), _shipped("scenarios/[a-e]*.toml"), TOML_WORDS),
    Door("recording", _read, (small_recording(),), JSON_WORDS, 8192),
    Door(
        "recording with fitting digits",
        _read_mended,
        (small_recording(),),
        JSON_WORDS,
        8192,
    ),
    Door(
        "recording of a whole station, with fitting digits",
        _read_mended,
        (_beginning("demo.jsonl", 3), _beginning("help_held.jsonl", 3)),
        JSON_WORDS,
        16_384,
    ),
    Door("kept state", _kept, (KEPT,), JSON_WORDS),
)
