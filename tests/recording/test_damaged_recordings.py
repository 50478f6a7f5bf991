"""Whatever happened to a file: a typed error, or a partial read that says what was lost."""

import random
from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest

from linetender.core.instants import SECOND_NS
from linetender.recording.errors import Fault, RecordingError
from linetender.recording.line_stream import LineStream
from linetender.recording.lines import EndReason
from recording.long_runs import tries
from recording.sessions import (
    Content,
    header,
    pressure,
    seconds_of_pressure,
    small_recording,
    with_right_digits,
)

WHOLE = small_recording()
LINES = WHOLE.splitlines(keepends=True)
LAST_CHECKED = len(LINES) - 3
"""Lines of the file without its last group: what is damaged in that may look torn."""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "damaged.jsonl"


def content_of(path: Path, data: bytes) -> Content:
    path.write_bytes(data)
    return Content(path)


def fault_in(path: Path, data: bytes) -> RecordingError:
    path.write_bytes(data)
    with pytest.raises(RecordingError) as caught:
        Content(path)
    return caught.value


def test_every_single_altered_byte_is_found(request: pytest.FixtureRequest, path: Path) -> None:
    whole = content_of(path, WHOLE)
    for place, byte in enumerate(WHOLE):
        others = [byte ^ 1, ord("\n"), byte ^ 0x80, ord(" "), ord("0")]
        for other in {*others[: tries(request, 2, 5)]} - {byte}:
            damaged = WHOLE[:place] + bytes([other]) + WHOLE[place + 1 :]
            try:
                content = content_of(path, damaged)
            except RecordingError:
                continue
            # Only what belongs to the last group can look like a torn end.
            assert content.tail is not None, (place, other)
            assert content.tail.offset <= place
            assert content.inputs == whole.inputs[: len(content.inputs)]


@pytest.mark.parametrize("place", range(1, LAST_CHECKED))
def test_a_lost_line_is_found(path: Path, place: int) -> None:
    error = fault_in(path, b"".join(LINES[:place] + LINES[place + 1 :]))
    lost_check = LINES[place].startswith(b'{"is":"check"')
    assert error.fault is (Fault.LINES_ADDED if lost_check else Fault.LINES_LOST)
    assert error.line is not None
    assert error.line <= place + 1
    assert error.offset == len(b"".join(LINES[: error.line - 1]))


@pytest.mark.parametrize("place", range(LAST_CHECKED))
def test_a_doubled_line_is_found(path: Path, place: int) -> None:
    error = fault_in(path, b"".join(LINES[: place + 1] + LINES[place:]))
    doubled_check = LINES[place].startswith(b'{"is":"check"')
    assert error.fault is (Fault.LINES_LOST if doubled_check else Fault.LINES_ADDED)
    assert error.line is not None
    assert error.line <= place + 2


@pytest.mark.parametrize("place", range(1, LAST_CHECKED - 1))
def test_two_swapped_lines_are_found(path: Path, place: int) -> None:
    swapped = [*LINES[:place], LINES[place + 1], LINES[place], *LINES[place + 2 :]]
    error = fault_in(path, b"".join(swapped))
    assert error.fault in (Fault.ALTERED, Fault.LINES_LOST, Fault.LINES_ADDED)


def test_a_lost_doubled_or_swapped_group_is_found(path: Path) -> None:
    stream = LineStream()
    groups = [stream.segment(header())]
    for second, block in enumerate(seconds_of_pressure(3), 1):
        stream.inputs(block)
        groups.append(stream.advance(second * SECOND_NS))
    groups.append(stream.end(3 * SECOND_NS, EndReason.STOPPED))
    for kept in ([0, 2, 3, 4], [0, 1, 1, 2, 3, 4], [0, 2, 1, 3, 4]):
        error = fault_in(path, b"".join(groups[k] for k in kept))
        assert error.fault is Fault.ALTERED


def test_a_file_torn_at_any_byte_gives_its_sound_part_and_says_what_it_lost(path: Path) -> None:
    whole = content_of(path, WHOLE)
    header_end = len(LINES[0]) + len(LINES[1])
    for length in range(len(WHOLE)):
        torn = WHOLE[:length]
        if length < header_end:
            expected = Fault.TORN_HEADER if length else Fault.EMPTY
            assert fault_in(path, torn).fault is expected
            continue
        content = content_of(path, torn)
        sound = torn[: torn.rfind(b'"}\n{"is":"check"')]
        lost = torn[torn.rfind(b"\n", 0, _end_of_last_check(torn)) + 1 :]
        assert content.inputs == whole.inputs[: len(content.inputs)], sound
        if lost:
            assert content.tail is not None
            assert content.tail.lines == len(lost.splitlines())
            assert content.tail.offset == length - len(lost)
            assert content.tail.until_ns == (content.until_ns or [0])[-1]
            assert not content.ended
        else:
            assert content.tail is None


def _end_of_last_check(torn: bytes) -> int:
    """Return where the last whole check line ends, found line by line."""
    end = at = 0
    for line in torn.splitlines(keepends=True):
        at += len(line)
        if line.startswith(b'{"is":"check",') and line.endswith(b"\n"):
            end = at
    return end


@pytest.mark.parametrize(
    ("data", "fault"),
    [
        pytest.param(b"", Fault.EMPTY, id="empty"),
        pytest.param(b"\x89PNG\r\n\x1a\n" + bytes(5000), Fault.NOT_A_RECORDING, id="picture"),
        pytest.param(b"\x00" * 4096, Fault.NOT_A_RECORDING, id="zeros"),
        pytest.param(b"# a letter\nhello\n", Fault.NOT_A_RECORDING, id="text"),
        pytest.param(b'{"is":"reading","arrived_ns":1}\n', Fault.NOT_A_RECORDING, id="headless"),
        pytest.param(LINES[0], Fault.TORN_HEADER, id="header without its check line"),
    ],
)
def test_what_is_no_recording(path: Path, data: bytes, fault: Fault) -> None:
    error = fault_in(path, data)
    assert error.fault is fault
    assert str(error).startswith(f"{path}: ")


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    for path, what in (
        (tmp_path / "none.jsonl", "no such file or directory"),
        (tmp_path, "this is not a regular file"),
    ):
        with pytest.raises(RecordingError, match=what) as caught:
            Content(path)
        assert caught.value.fault is Fault.UNREADABLE


def test_no_end_of_line_in_sight_is_given_up_in_bounded_memory(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("linetender.recording.reader.UNCHECKED_BYTES", 10_000)
    monkeypatch.setattr("linetender.recording.reader.PIECE_BYTES", 1_000)
    error = fault_in(path, b"".join(LINES[:2]) + b"x" * 20_000)
    assert (error.fault, error.line) == (Fault.NOT_A_RECORDING, 3)


def test_a_newer_schema_is_named_before_anything_else_is_believed(path: Path) -> None:
    newer = WHOLE.replace(b'"schema":1,"software":"', b'"schema":2,"plan2":[],"software":"9.')
    error = fault_in(path, with_right_digits(newer.replace(b'"plan":', b'"other":')))
    assert error.fault is Fault.NEWER_SCHEMA
    assert "linetender 9." in str(error)
    assert "up to schema 1" in str(error)


def test_fields_that_a_later_version_added_are_passed_over(path: Path) -> None:
    grown = WHOLE.replace(b'"boot":"demo",', b'"boot":"demo","weather":{"rain":true},')
    content = content_of(path, with_right_digits(grown))
    assert content.headers[0] == header()


READING = LINES[3].decode()
BAD_LINES = [
    ("not a number", READING.replace("60.125", "NaN"), "line 4"),
    ("lost number", READING.replace('"value":60.125,', ""), "needs a value or the reason"),
    ("number and reason", READING.replace("60.125", '1.0,"reason":"crc"'), "cannot also have"),
    ("unknown signal", READING.replace("duct_pressure_pa", "luck"), "Invalid enum value 'luck'"),
    ("unknown kind", READING.replace("reading", "rumour"), "Invalid value 'rumour'"),
    ("not JSON", "hello\n", "malformed"),
    ("not text", None, "line 4"),
    ("two on a line", READING.replace("\n", READING), "more than one thing"),
    ("blank", "\n", "a blank line"),
    ("deep", READING.replace("60.125", "[" * 5_000 + "]" * 5_000), "line 4"),
    ("header", " " + LINES[0].decode(), "a header, check or end line"),
    ("check", " " + LINES[1].decode(), "a header, check or end line"),
    ("end", '{"is":"end","until_ns":0,"why":"stopped"}\n', "a header, check or end line"),
]


@pytest.mark.parametrize(("line", "what"), [case[1:] for case in BAD_LINES])
def test_a_line_that_may_not_stand_there_is_named(path: Path, line: str | None, what: str) -> None:
    data = LINES[3].replace(b"air", b"\xff\xfe") if line is None else line.encode()
    error = fault_in(path, with_right_digits(b"".join([*LINES[:3], data, *LINES[4:]])))
    assert error.fault is Fault.BAD_LINE
    assert what in str(error)
    assert error.line in (3, 4)


BAD_HEADERS = [
    (b'"limit":65.0', b'"limit":null', "Expected `float`, got `null`"),
    (b'"normal_pa":60.0', b'"normal_pa":0.0', "air.normal_pa is 0.0; more than 0"),
    (b'"on_delay_ns":2', b'"on_delay_ns":-2', "rules[air_lost].on_delay_ns is -2"),
    (b'"started_ns":0', b'"started_ns":-5', "started_ns is -5"),
    (b'"started_ns":0', b'"started_ns":5', "a check line of its own"),
    (b'"why":"start"', b'"why":"whim"', "Invalid enum value 'whim'"),
]


@pytest.mark.parametrize(("old", "new", "what"), BAD_HEADERS)
def test_a_header_that_no_watch_can_start_from(
    path: Path, old: bytes, new: bytes, what: str
) -> None:
    assert old in LINES[0]
    error = fault_in(path, with_right_digits(WHOLE.replace(old, new, 1)))
    assert (error.fault, error.line, error.offset) == (Fault.BAD_LINE, 1, 0)
    assert what in str(error)


def test_time_that_goes_back_is_named(path: Path) -> None:
    back = WHOLE.replace(b'"until_ns":2000000000', b'"until_ns":999999999')
    assert back != WHOLE
    error = fault_in(path, with_right_digits(back))
    assert (error.fault, error.line) == (Fault.BAD_LINE, 7)


def test_lines_after_the_end_of_a_segment_are_named(path: Path) -> None:
    stream = LineStream()
    data = stream.segment(header()) + stream.end(5, EndReason.STOPPED)
    stream.inputs([pressure(6)])
    data += stream.advance(SECOND_NS)
    error = fault_in(path, data)
    assert (error.fault, error.line) == (Fault.BAD_LINE, 5)


def mutations(seed: int, count: int) -> Iterator[bytes]:
    """Yield damaged copies: bytes altered, put in, cut out, pieces moved, the end cut off."""
    draw = random.Random(seed)
    for _ in range(count):
        data = bytearray(WHOLE)
        for _ in range(draw.choice((1, 1, 1, 2, 5))):
            at = draw.randrange(len(data) + 1)
            length = draw.choice((1, 1, 2, 10, 300))
            match draw.randrange(5):
                case 0:
                    data[at : at + length] = draw.randbytes(length)
                case 1:
                    data[at:at] = draw.choice((b"9", b"-", b"\n", b'"', b"null", b"{", b"e9"))
                case 2:
                    del data[at : at + length]
                case 3:
                    piece = data[at : at + length]
                    to = draw.randrange(len(data) + 1)
                    data[to:to] = piece
                case _:
                    del data[at:]
        yield bytes(data)


@pytest.mark.parametrize("digits_fit", [False, True])
def test_random_mutations(request: pytest.FixtureRequest, path: Path, digits_fit: bool) -> None:
    count = tries(request, 1_000, 50_000)
    seed = 20_240_517
    print(f"seed {seed}")  # noqa: T201 shown when the test fails
    outcomes = {"read": 0, "partial": 0, "refused": 0}
    for data in mutations(seed, count):
        try:
            content = content_of(path, with_right_digits(data) if digits_fit else data)
        except RecordingError as error:
            assert str(path) in str(error)
            outcomes["refused"] += 1
        else:
            outcomes["partial" if content.tail else "read"] += 1
            assert all(msgspec.json.encode(item) for item in content.inputs)
    assert sum(outcomes.values()) == count
    assert outcomes["refused"] > count / 2
    assert digits_fit or outcomes["read"] < count / 20
