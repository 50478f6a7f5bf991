"""What the link puts on the wire when a broker loses, withholds or lies."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from linetender.runtime.broker import IN_FLIGHT
from linetender.runtime.broker_link import HANGS_AFTER_NS, BrokerLink
from linetender.runtime.incoming import Received, Reception
from linetender.runtime.outgoing import LOST
from linetender.settings.station_file import BrokerSettings
from link_waiting import wait_for
from mosquitto_broker import PATIENCE_S
from scripted_broker import Peer, ScriptedBroker


class SteppedClock:
    """A clock that went on by so much at once."""

    def __init__(self, step_ns: int) -> None:
        self._now_ns = step_ns + 1_000_000

    def now_ns(self) -> int:
        self._now_ns += 1
        return self._now_ns

    async def sleep(self, seconds: float) -> None:
        raise AssertionError("the link does not sleep by this clock")


EVENT, STATE = "linetender/bench/event", "linetender/bench/state"


@contextmanager
def connected(
    links: Callable[..., BrokerLink],
) -> Iterator[tuple[ScriptedBroker, BrokerLink, Peer]]:
    """Yield a broker, a link, and their connection once `online` is confirmed."""
    with ScriptedBroker() as broker:
        link = links(broker.port)
        link.start()
        peer = broker.accept()
        peer.confirm(peer.publish())
        yield broker, link, peer


def test_after_a_break_the_newest_state_is_told_and_never_the_old_one(
    links: Callable[..., BrokerLink],
) -> None:
    """The client library would repeat what a break left unconfirmed, as it was."""
    with connected(links) as (broker, link, peer):
        link.publish(STATE, b"old", qos=1, retain=True)
        assert peer.publish()[:2] == (STATE, b"old")
        link.publish(STATE, b"new", qos=1, retain=True)  # waits for the old one's answer
        peer.close()
        peer = broker.accept()
        link.publish(EVENT, b"an event", qos=1)
        seen = [peer.publish() for _ in range(3)]
    assert [publish[:2] for publish in seen] == [
        ("linetender/bench/online", b"online"),
        (STATE, b"new"),
        (EVENT, b"an event"),
    ]


def test_who_minds_the_answer_is_told_that_there_was_none(
    links: Callable[..., BrokerLink],
) -> None:
    """An event is sent again by its outbox, which knows by now how late it is."""
    answers: list[int] = []
    lost = threading.Event()

    def answered(reason: int) -> None:
        answers.append(reason)
        lost.set()

    with connected(links) as (broker, link, peer):
        link.publish(EVENT, b"on time", qos=1, answered=answered)
        assert peer.publish()[:2] == (EVENT, b"on time")
        peer.close()
        assert lost.wait(PATIENCE_S)
        peer = broker.accept()
        link.publish(EVENT, b"late", qos=1)
        assert [peer.publish()[1] for _ in range(2)] == [b"online", b"late"]
    assert answers == [LOST]


def test_a_sending_thread_that_hangs_gets_a_successor_with_a_connection_of_its_own(
    links: Callable[..., BrokerLink],
) -> None:
    with connected(links) as (broker, link, peer):
        release, reached = threading.Event(), threading.Event()

        def hang(*_: object) -> None:
            reached.set()
            release.wait()

        client = link._client
        client.publish = hang  # type: ignore[assignment]
        link.publish(EVENT, b"stuck", qos=1)
        link.publish(EVENT, b"behind it", qos=1)
        assert reached.wait(PATIENCE_S)
        link.renew_if_stuck()
        assert link.state().renewals == 0  # not yet
        link._clock = SteppedClock(HANGS_AFTER_NS)
        link.renew_if_stuck()
        peer = broker.accept()
        told = [peer.publish()[1] for _ in range(2)]
        assert (told, link.state().renewals) == ([b"online", b"behind it"], 1)
        release.set()
        assert peer.publish()[1] == b"stuck"  # the late one hands its message back


def test_an_event_that_was_not_confirmed_comes_again_and_in_order(
    links: Callable[..., BrokerLink],
) -> None:
    with connected(links) as (broker, link, peer):
        for number in range(3):
            link.publish(EVENT, b"%d" % number, qos=1)
        first = [peer.publish() for _ in range(3)]
        peer.confirm(first[0])
        wait_for(link, lambda state: state.confirmed == 2)
        peer.close()
        peer = broker.accept()
        events = []
        while len(events) < 2:
            publish = peer.publish()
            peer.confirm(publish)
            if publish.topic == EVENT:
                events.append(publish)
    assert [event.payload for event in events] == [b"1", b"2"]
    assert not any(event.again for event in events)  # a new client; the reader has the id


def test_a_broker_that_confirms_nothing_holds_up_nobody_and_is_left_with_the_will(
    links: Callable[..., BrokerLink],
) -> None:
    """A plain disconnect would cancel the will, and `online` would stand for ever."""
    with ScriptedBroker() as broker:
        link = links(broker.port)
        link.start()
        peer = broker.accept()
        for number in range(100):
            link.publish(EVENT, b"%d" % number, qos=1)
        told = [peer.publish() for _ in range(IN_FLIGHT)]
        assert len({publish.mid for publish in told}) == IN_FLIGHT
        state = link.state()
        assert (state.confirmed, state.last_confirmed_ns) == (0, None)
        stopped = threading.Thread(target=link.stop, args=(0.3,))
        stopped.start()
        assert peer.disconnect_reason() == 0x04
        stopped.join()
        assert link.state().waiting == 100 + 1 + 1 - IN_FLIGHT


def test_a_clean_stop_needs_no_will(links: Callable[..., BrokerLink]) -> None:
    with connected(links) as (_, link, peer):
        stopped = threading.Thread(target=link.stop)
        stopped.start()
        offline = peer.publish()
        assert offline[:2] == ("linetender/bench/online", b"offline")
        peer.confirm(offline)
        assert peer.disconnect_reason() == 0
        stopped.join()


def test_a_topic_that_is_no_text_ends_nothing() -> None:
    """The client library decodes a topic when asked: such a one raises in its thread."""
    heard: list[Received] = []
    settings, reception = BrokerSettings(host="127.0.0.1", port=1), Reception(receive=heard.append)
    with ScriptedBroker() as broker:
        settings = settings.model_copy(update={"port": broker.port})
        clock = SteppedClock(0)
        link = BrokerLink(settings, "bench", clock, folder=Path(), reception=reception)
        link.start()
        try:
            peer = broker.accept()
            peer.confirm(peer.publish())
            peer.send(b"linetender/\xff\xfe", b"bad")
            peer.send(b"linetender/bench/selftest", b"good")
            wait_for(link, lambda _: heard != [])
        finally:
            link.stop(0.5)
    assert heard == [Received("linetender/bench/selftest", b"good", False)]
