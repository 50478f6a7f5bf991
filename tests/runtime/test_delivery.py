"""Which event goes next: one at a time, oldest first, until the broker has taken it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from linetender.memory.outbox import Gone, Waiting
from linetender.runtime.delivery import (
    AGAIN_AFTER_NS,
    ANSWER_WITHIN_NS,
    STORE_WITHIN_NS,
    Delivery,
)

S = 1_000_000_000
TAKEN, NOBODY_THERE, NOT_AUTHORISED, QUOTA, BAD_FORMAT = 0x00, 0x10, 0x87, 0x97, 0x99


def event(n: int, *, high: bool = False) -> Waiting:
    return Waiting(0, f"run-{n}", "2000-01-01T00:00:00+00:00", "boot", n, high, 0, "{}")


def stored(*events: Waiting, capacity: int = 100) -> Delivery:
    delivery = Delivery(capacity=capacity)
    for one in events:
        delivery.put(one, 0)
    delivery.stored(delivery.take_changes())
    return delivery


def ids(delivery: Delivery, now_ns: int = 0) -> list[str]:
    """Deliver all that waits."""
    told = []
    while (row := delivery.next(now_ns)) is not None:
        told.append(row.id)
        delivery.answered(row.seq, TAKEN, now_ns)
    return told


def test_one_at_a_time_and_the_oldest_first() -> None:
    delivery = stored(event(1), event(2))
    first = delivery.next(0)
    assert first is not None and first.id == "run-1"
    assert delivery.next(0) is None
    delivery.answered(first.seq, NOBODY_THERE, 0)
    assert ids(delivery) == ["run-2"]
    assert [change for change in delivery.take_changes()] == [Gone(1), Gone(2)]


def test_what_is_not_on_the_disk_waits_but_not_for_long() -> None:
    delivery = Delivery()
    delivery.put(event(1), 5 * S)
    assert delivery.next(5 * S + STORE_WITHIN_NS - 1) is None
    assert ids(delivery, 5 * S + STORE_WITHIN_NS) == ["run-1"]


def test_the_same_event_waits_once() -> None:
    assert ids(stored(event(1), event(1), event(2))) == ["run-1", "run-2"]


def test_without_an_answer_it_is_sent_again_and_a_late_answer_is_no_other_ones() -> None:
    delivery = stored(event(1), event(2))
    first = delivery.next(0)
    assert first is not None
    assert delivery.next(ANSWER_WITHIN_NS - 1) is None
    assert delivery.next(ANSWER_WITHIN_NS) == first
    delivery.answered(first.seq, TAKEN, ANSWER_WITHIN_NS)
    second = delivery.next(ANSWER_WITHIN_NS)
    delivery.answered(first.seq, TAKEN, ANSWER_WITHIN_NS)  # of the first sending
    assert second is not None and second.id == "run-2"
    assert len(delivery) == 1


@pytest.mark.parametrize("reason", [NOT_AUTHORISED, QUOTA])
def test_what_the_broker_refuses_is_kept_and_offered_again(reason: int) -> None:
    delivery = stored(event(1), event(2))
    row = delivery.next(0)
    assert row is not None
    delivery.answered(row.seq, reason, 0)
    assert (delivery.refusal, delivery.next(AGAIN_AFTER_NS - 1)) == (reason, None)
    assert ids(delivery, AGAIN_AFTER_NS) == ["run-1", "run-2"]
    assert delivery.refusal is None


def test_what_no_broker_will_take_holds_up_nothing() -> None:
    delivery = stored(event(1), event(2))
    row = delivery.next(0)
    assert row is not None
    delivery.answered(row.seq, BAD_FORMAT, 0)
    assert ids(delivery) == ["run-2"]


def test_when_it_is_full_the_oldest_that_are_not_high_go_and_one_row_says_how_many() -> None:
    events = [event(n, high=n in (1, 2)) for n in range(1, 11)]
    delivery = stored(*events, capacity=6)
    rows = []
    while (row := delivery.next(0)) is not None:
        rows.append((row.id, row.lost))
        delivery.answered(row.seq, TAKEN, 0)
    assert rows == [
        ("run-1", 0),
        ("run-2", 0),
        ("run-3-lost", 5),
        ("run-8", 0),
        ("run-9", 0),
        ("run-10", 0),
    ]


def test_when_all_are_high_the_oldest_go() -> None:
    delivery = stored(*[event(n, high=True) for n in range(1, 6)], capacity=3)
    assert ids(delivery) == ["run-1-lost", "run-4", "run-5"]


def test_what_is_on_its_way_is_not_given_up() -> None:
    delivery = stored(event(1), event(2), event(3), capacity=3)
    assert delivery.next(0) is not None
    delivery.put(event(4), 0)
    delivery.stored(delivery.take_changes())
    delivery.answered(1, TAKEN, 0)
    assert ids(delivery) == ["run-2-lost", "run-4"]


@given(
    st.lists(st.sampled_from(["put", "put high", "send", "answer", "refuse", "store"]), max_size=80)
)
def test_the_disk_always_holds_what_waits(deeds: list[str]) -> None:
    """Applying the changes to a copy gives what waits; events come in order and none is lost."""
    delivery, disk = Delivery(capacity=8), dict[int, Waiting]()
    now_ns, made, lost = 0, 0, 0
    told: list[int] = []
    sent: Waiting | None = None
    for deed in deeds:
        now_ns += AGAIN_AFTER_NS
        if deed.startswith("put"):
            made += 1
            delivery.put(event(made, high=deed == "put high"), now_ns)
        elif deed == "send":
            sent = delivery.next(now_ns) or sent
        elif sent is not None and deed == "answer":
            if sent.seq in {row.seq for row in list(delivery._rows.values())}:
                told += [] if sent.lost else [sent.at_ns]
                lost += sent.lost
            delivery.answered(sent.seq, TAKEN, now_ns)
            sent = None
        elif sent is not None and deed == "refuse":
            delivery.answered(sent.seq, NOT_AUTHORISED, now_ns)
        else:
            changes = delivery.take_changes()
            for change in changes:
                if isinstance(change, Gone):
                    disk.pop(change.seq, None)
                else:
                    disk[change.seq] = change
            delivery.stored(changes)
            assert sorted(disk) == sorted(delivery._rows)
            assert len(disk) <= 8
    for row in sorted(delivery._rows.values(), key=lambda row: row.seq):
        told += [] if row.lost else [row.at_ns]
        lost += row.lost
    assert told == sorted(set(told))
    assert len(told) + lost == made
