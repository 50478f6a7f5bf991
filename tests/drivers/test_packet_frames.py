"""Frames are cut from notifications however these come."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.packet_files import framed, framed_frame
from linetender_drivers.errors import BadFrame, FailureReason
from linetender_drivers.oximeter.packet_description import (
    Bits,
    Checksum,
    ChecksumKind,
    Frame,
    HeaderLength,
)
from linetender_drivers.oximeter.packet_frames import FrameCutter, checksum_of

A, B, C = framed_frame(97, 60), framed_frame(96, 61), framed_frame(95, 200)
BROKEN = A[:5] + bytes([A[5] ^ 1]) + A[6:]


def cutter() -> FrameCutter:
    return FrameCutter("finger", framed().frame)


@pytest.mark.parametrize(
    ("notifications", "frames"),
    [
        ([A], [[A]]),
        ([A + B], [[A, B]]),
        ([A[:4], A[4:]], [[], [A]]),
        ([A[:1], A[1:2], A[2:]], [[], [], [A]]),
        ([A + B[:3], B[3:] + C], [[A], [B, C]]),
        ([b"\x00\xff" + A], [[A]]),
        ([A + b"\x00\xc9", b"\x00" + B], [[A], [B]]),
        ([b"\xc9" + A], [[A]]),
        ([b"\xc9\x35\xff" + A], [[A]]),  # a length that no frame may have
        ([b"\xc9\x35\x00" + A], [[A]]),
        ([BROKEN + A], [[A]]),
        ([b""], [[]]),
    ],
)
def test_frames_are_cut_from_the_joined_notifications(
    notifications: list[bytes], frames: list[list[bytes]]
) -> None:
    taking = cutter()
    assert [taking.feed(each) for each in notifications] == frames


def test_a_wrong_checksum_is_told_and_the_next_frame_is_read() -> None:
    taking = cutter()
    with pytest.raises(BadFrame, match="finger: its crc8 does not match") as error:
        taking.feed(BROKEN)
    assert (error.value.reason, error.value.frame) == (FailureReason.BAD_CRC, BROKEN)
    assert taking.feed(A) == [A]


@given(st.lists(st.integers(0, 80), max_size=8))
def test_where_notifications_are_split_makes_no_difference(cuts: list[int]) -> None:
    stream = b"\x13" + A + B + b"\xc9\x35" + C + A
    taking, got, before = cutter(), [], 0
    for cut in [*sorted(min(cut, len(stream)) for cut in cuts), len(stream)]:
        got += taking.feed(stream[before:cut])
        before = cut
    assert got == [A, B, C, A]


@given(st.lists(st.binary(max_size=40), max_size=10))
def test_whatever_comes_is_a_sound_frame_or_a_bad_one(notifications: list[bytes]) -> None:
    taking = cutter()
    for each in notifications:
        try:
            frames = taking.feed(each)
        except BadFrame:
            continue
        for frame in frames:
            assert frame[:2] == b"\xc9\x35"
            assert len(frame) == frame[2]
            assert checksum_of(frame[:-1], framed().frame.checksum) == frame[-1]
    # And it has not got stuck: once what is left of a frame has run out (none may be
    # longer than 32 octets), the next one is read.
    with contextlib.suppress(BadFrame):
        taking.feed(bytes(64))
    assert taking.feed(A) == [A]


def test_without_sync_each_notification_is_one_frame() -> None:
    taking = FrameCutter("finger", Frame(length=3))
    assert taking.feed(b"\x01\x02\x03") == [b"\x01\x02\x03"]
    for wrong in (b"", b"\x01\x02", b"\x01\x02\x03\x04"):
        with pytest.raises(BadFrame, match=f"{len(wrong)} octets came .* expects 3"):
            taking.feed(wrong)


def test_without_sync_a_header_may_say_the_length() -> None:
    taking = FrameCutter("finger", Frame(length=HeaderLength(byte=0, mask=0x0F, add=1)))
    assert taking.feed(b"\xf2\x07\x08") == [b"\xf2\x07\x08"]
    for wrong in (b"", b"\xf2\x07", b"\xf2\x07\x08\x09"):
        with pytest.raises(BadFrame):
            taking.feed(wrong)


@pytest.mark.parametrize(
    ("how", "made"),
    [
        (Checksum(kind=ChecksumKind.SUM8), 0xF7),  # 0xAA + 0x55 + 0xF8 = 0x1F7
        (Checksum(kind=ChecksumKind.SUM8, first=1), 0x4D),
        (Checksum(kind=ChecksumKind.XOR8), 0x07),
        (Checksum(kind=ChecksumKind.XOR8, first=2), 0xF8),
    ],
)
def test_sums_by_hand(how: Checksum, made: int) -> None:
    octets = b"\xaa\x55\xf8"
    assert checksum_of(octets, how) == made
    sync = [Bits(byte=0, mask=0xFF, value=0xAA)]
    taking = FrameCutter("finger", Frame(length=4, sync=sync, checksum=how))
    assert taking.feed(octets + bytes([made])) == [octets + bytes([made])]
    with pytest.raises(BadFrame):
        taking.feed(octets + bytes([made ^ 1]))
