"""The queue before the broker: what is kept, in which order, and what is given up."""

from linetender.core.instants import SECOND_NS
from linetender.runtime.outgoing import Message, OutgoingQueue


def passing(name: str, expiry_s: int | None = None, put_ns: int = 0) -> Message:
    return Message(name, b"x", 1, False, expiry_s, put_ns)


def kept(topic: str, payload: bytes) -> Message:
    return Message(topic, payload, 1, True, None, 0)


def drain(queue: OutgoingQueue, now_ns: int = 0, busy: tuple[str, ...] = ()) -> list[Message]:
    taken = []
    while (message := queue.take(now_ns, busy)) is not None:
        taken.append(message)
    return taken


def test_first_in_first_out() -> None:
    queue = OutgoingQueue(10)
    put = [passing("a"), kept("state", b"1"), passing("b")]
    for message in put:
        queue.put(message)
    assert drain(queue) == put
    assert len(queue) == 0


def test_only_the_newest_of_a_retained_topic_waits() -> None:
    queue = OutgoingQueue(10)
    for message in (kept("state", b"1"), passing("a"), kept("state", b"2")):
        queue.put(message)
    assert drain(queue) == [kept("state", b"2"), passing("a")]


def test_the_oldest_unretained_message_goes_and_is_counted() -> None:
    queue = OutgoingQueue(2)
    for message in (kept("state", b"1"), *map(passing, "abcd")):
        queue.put(message)
    assert drain(queue) == [kept("state", b"1"), passing("c"), passing("d")]
    assert queue.dropped == 2


def test_all_retained_topics_are_said_again_first_and_once() -> None:
    queue = OutgoingQueue(10)
    queue.put(kept("online", b"online"))
    queue.put(kept("state", b"1"))
    assert drain(queue) == [kept("online", b"online"), kept("state", b"1")]
    queue.put(passing("a"))
    queue.put(kept("state", b"2"))
    queue.say_retained_again()
    assert drain(queue) == [kept("online", b"online"), kept("state", b"2"), passing("a")]


def test_a_retained_topic_on_its_way_is_not_overtaken() -> None:
    queue = OutgoingQueue(10)
    queue.put(kept("state", b"2"))
    queue.put(passing("a"))
    assert drain(queue, busy=("state",)) == [passing("a")]
    assert drain(queue) == [kept("state", b"2")]


def test_what_waited_longer_than_its_life_is_left_out() -> None:
    queue = OutgoingQueue(10)
    queue.put(passing("old", expiry_s=5, put_ns=0))
    queue.put(passing("young", expiry_s=5, put_ns=1))
    queue.put(passing("endless"))
    assert drain(queue, now_ns=5 * SECOND_NS) == [
        passing("young", expiry_s=5, put_ns=1),
        passing("endless"),
    ]
    assert queue.expired == 1


def test_many_expired_messages_are_passed_over() -> None:
    queue = OutgoingQueue(5000)
    for _ in range(5000):
        queue.put(passing("old", expiry_s=1))
    assert drain(queue, now_ns=SECOND_NS) == []
    assert queue.expired == 5000


def test_a_waiting_topic_can_be_sent_first() -> None:
    queue = OutgoingQueue(10)
    queue.put(passing("a"))
    queue.put(kept("online", b"offline"))
    queue.send_first("online")
    queue.send_first("absent")
    assert drain(queue) == [kept("online", b"offline"), passing("a")]
