"""Messages from afar: what counts, and that nothing else does."""

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linetender.annunciation.acceptance import (
    FRESH_BEATS,
    RATE,
    SENDERS,
    Acceptance,
    Refusal,
)
from linetender.annunciation.far_payloads import LARGEST_BYTES, Gesture, Order, Press

RUN, BEAT = "0a1b2c3d", 100


def press(**changes: Any) -> bytes:
    """An invented press that counts, but for what is changed."""
    fields = {"run": RUN, "heard": BEAT, "from": "b0b0", "count": 1, "shown": 3, "gesture": "tap"}
    return json.dumps({**fields, **changes}).encode()


def presses() -> Acceptance[Press]:
    return Acceptance(RUN, Press, lambda one: one.gesture is Gesture.HOLD)


def take(payload: bytes, retained: bool = False) -> Press | Refusal:
    return presses().take("bench", payload, retained=retained, beat=BEAT)


@pytest.mark.parametrize("heard", [BEAT, BEAT - 1, BEAT - FRESH_BEATS])
def test_a_fresh_press_counts(heard: int) -> None:
    assert take(press(heard=heard)) == Press(RUN, heard, "b0b0", 1, 3, Gesture.TAP)


def test_a_key_that_is_not_known_is_passed_over() -> None:
    assert isinstance(take(press(colour="blue")), Press)


REFUSED: list[tuple[bytes, bool, Refusal]] = [
    (press(), True, Refusal.RETAINED),
    (press() + b" " * LARGEST_BYTES, False, Refusal.TOO_LARGE),
    (b"", False, Refusal.GARBLED),
    (b"null", False, Refusal.GARBLED),
    (b"\xff\xfe", False, Refusal.GARBLED),
    (b"[" * 1000, False, Refusal.GARBLED),
    (press()[:-1], False, Refusal.GARBLED),
    (press(heard=-1), False, Refusal.GARBLED),
    (press(heard="100"), False, Refusal.GARBLED),
    (press(heard=1e300), False, Refusal.GARBLED),
    (press(count=True), False, Refusal.GARBLED),
    (press(gesture="wave"), False, Refusal.GARBLED),
    (press(**{"from": "a\n"}), False, Refusal.GARBLED),
    (press(**{"from": "a" * 33}), False, Refusal.GARBLED),
    (press(run="ffffffff"), False, Refusal.OTHER_RUN),
    (press(heard=BEAT - FRESH_BEATS - 1), False, Refusal.STALE),
    (press(heard=BEAT + 1), False, Refusal.STALE),
]


@pytest.mark.parametrize(("payload", "retained", "why"), REFUSED)
def test_what_does_not_count(payload: bytes, retained: bool, why: Refusal) -> None:
    assert take(payload, retained) is why


def test_a_call_for_help_counts_though_its_box_has_not_heard_for_long() -> None:
    late = press(heard=1, gesture="hold")
    assert isinstance(take(late), Press)
    assert take(press(heard=1, gesture="hold", run="ffffffff")) is Refusal.OTHER_RUN
    accepted = presses()
    outcome = [accepted.take("bench", late, retained=False, beat=BEAT) for _ in range(2)]
    assert outcome[1] is Refusal.REPEATED


def test_a_count_that_has_not_risen_is_a_repetition_for_that_start_of_that_sender() -> None:
    accepted = presses()
    script = [
        ("bench", "b0b0", 5, True),
        ("bench", "b0b0", 5, False),
        ("bench", "b0b0", 4, False),
        ("bench", "cafe", 1, True),  # the box started anew
        ("bench", "b0b0", 5, False),  # and what it sent before does not count again
        ("bench", "b0b0", 6, True),
        ("porch", "b0b0", 5, True),
    ]
    outcome = [
        isinstance(
            accepted.take(
                who, press(**{"from": sender, "count": count}), retained=False, beat=BEAT
            ),
            Press,
        )
        for who, sender, count, _ in script
    ]
    assert outcome == [counts for *_, counts in script]


def test_a_sender_of_too_many_is_heard_again_later() -> None:
    accepted = presses()

    def counted(beat: int, count: int) -> Press | Refusal:
        return accepted.take("bench", press(heard=beat, count=count), retained=False, beat=beat)

    outcome = [counted(BEAT, count) for count in range(1, RATE + 3)]
    assert outcome[RATE:] == [Refusal.TOO_MANY] * 2
    assert all(isinstance(one, Press) for one in outcome[:RATE])
    assert isinstance(counted(BEAT + FRESH_BEATS, RATE + 3), Press)


def test_what_is_remembered_is_bounded() -> None:
    accepted = presses()
    for number in range(10 * SENDERS):
        for who in (f"box{number}", "bench"):
            payload = press(**{"from": f"s{number}"})
            accepted.take(who, payload, retained=False, beat=BEAT)
    assert len(accepted._counts) == len(accepted._beats) == SENDERS
    assert max(len(counts) for counts in accepted._counts.values()) == SENDERS


@given(st.binary(max_size=200) | st.text(max_size=100).map(str.encode))
def test_any_bytes_give_a_refusal_and_no_error(payload: bytes) -> None:
    assert take(payload) is Refusal.GARBLED


def test_ten_thousand_replayed_stale_retained_oversized_and_garbled_orders() -> None:
    """None counts, and a true one still does in between."""
    accepted = Acceptance(RUN, Order)

    def order(**changes: Any) -> bytes:
        fields = {"run": RUN, "heard": BEAT, "from": "phone1", "count": 1, "shown": 3}
        return json.dumps({**fields, "verb": "acknowledge", **changes}).encode()

    first = accepted.take("ann", order(), retained=False, beat=BEAT)
    assert isinstance(first, Order)
    refused = []
    for number in range(2_000):
        bad = [
            (order(), False, BEAT + number % 3),
            (order(count=number + 2, heard=BEAT - 6 - number), False, BEAT),
            (order(count=number + 2), True, BEAT),
            (order(count=number + 2, why="x" * 2_000), False, BEAT),
            (order(count=number + 2)[: number % 90], False, BEAT),
        ]
        refused += [
            accepted.take("ann", payload, retained=kept, beat=beat) for payload, kept, beat in bad
        ]
    assert len(refused) == 10_000
    assert [one for one in refused if not isinstance(one, Refusal)] == []
    assert isinstance(accepted.take("ann", order(count=2), retained=False, beat=BEAT), Order)
