"""Topic names, and names that cannot be part of one."""

import pytest

from linetender.annunciation.topics import Topics


def test_names() -> None:
    topics = Topics("bench")
    assert [
        topics.online,
        topics.alive,
        topics.state,
        topics.event,
        topics.say,
        topics.alarm("air_lost"),
        topics.contact("neighbour"),
    ] == [
        "linetender/bench/online",
        "linetender/bench/alive",
        "linetender/bench/state",
        "linetender/bench/event",
        "linetender/bench/say",
        "linetender/bench/alarm/air_lost",
        "linetender/bench/contact/neighbour",
    ]


@pytest.mark.parametrize("name", ["", "a/b", "+", "shed#", "nul\0"])
def test_a_name_with_a_meaning_in_topics_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="cannot be part of a topic"):
        Topics(name)
    with pytest.raises(ValueError, match="cannot be part of a topic"):
        Topics("bench").alarm(name)


@pytest.mark.parametrize(
    ("topic", "sender"),
    [
        ("linetender/bench/command/ann", "ann"),
        ("linetender/bench/far/box/press", "box"),
        ("linetender/bench/command/", ""),
        ("linetender/bench/command", ""),
        ("", ""),
        ("linetender/bench/command/+", ""),
        ("linetender/bench/far/#/press", ""),
        ("linetender/bench/forward/a\0", ""),
    ],
)
def test_who_sent_a_message_though_a_broker_lies(topic: str, sender: str) -> None:
    assert Topics("bench").sender(topic) == sender
