"""What the link puts on the wire when a broker loses, withholds or lies."""

import threading
from collections.abc import Callable

from linetender.runtime.broker import IN_FLIGHT, BrokerLink
from link_waiting import wait_for
from scripted_broker import ScriptedBroker

EVENT, STATE = "linetender/bench/event", "linetender/bench/state"


def test_a_newer_state_waits_for_the_confirmation_of_an_older_one(
    links: Callable[..., BrokerLink],
) -> None:
    """The client library repeats what a break left unconfirmed, at a time of its own."""
    with ScriptedBroker() as broker:
        link = links(broker.port)
        link.start()
        peer = broker.accept()
        peer.confirm(peer.publish())
        link.publish(STATE, b"old", qos=1, retain=True)
        assert peer.publish()[:2] == (STATE, b"old")
        peer.close()

        peer = broker.accept()
        link.publish(STATE, b"new", qos=1, retain=True)
        link.publish(EVENT, b"an event", qos=1)
        seen = [peer.publish() for _ in range(3)]
        assert sorted(publish[:2] for publish in seen) == [
            (EVENT, b"an event"),
            ("linetender/bench/online", b"online"),
            (STATE, b"old"),
        ]
        assert [publish.topic for publish in seen if publish.again] == [STATE]
        for publish in seen:
            peer.confirm(publish)
        assert peer.publish()[:2] == (STATE, b"new")


def test_an_event_that_was_not_confirmed_comes_again_and_in_order(
    links: Callable[..., BrokerLink],
) -> None:
    with ScriptedBroker() as broker:
        link = links(broker.port)
        link.start()
        peer = broker.accept()
        peer.confirm(peer.publish())
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
    assert all(event.again for event in events)


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
    with ScriptedBroker() as broker:
        link = links(broker.port)
        link.start()
        peer = broker.accept()
        peer.confirm(peer.publish())
        stopped = threading.Thread(target=link.stop)
        stopped.start()
        offline = peer.publish()
        assert offline[:2] == ("linetender/bench/online", b"offline")
        peer.confirm(offline)
        assert peer.disconnect_reason() == 0
        stopped.join()
