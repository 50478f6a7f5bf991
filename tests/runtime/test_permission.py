"""What a broker's access list refuses is told, and tried again until it is mended."""

from linetender.runtime.permission import Permission

S = 1_000_000_000
STATE, EVENT = "linetender/shed/state", "linetender/shed/event"


def test_a_refused_topic_is_named_until_it_may_be_written() -> None:
    permission = Permission(expected={"linetender/shed/command/_self"})
    permission.answered("linetender/shed/command/_self", 135)
    permission.answered(STATE, 0)
    assert permission.fault == ""
    permission.answered(STATE, 135)
    permission.answered(EVENT, 135)
    assert permission.fault == f"the broker's access list refuses {STATE}"
    permission.answered(STATE, 151)  # another reason: nothing is known of the list
    permission.answered(STATE, -1)  # no answer
    assert permission.fault.endswith(STATE)
    permission.answered(STATE, 16)  # taken, though nobody listens
    assert permission.fault.endswith(EVENT)
    permission.answered(EVENT, 0)
    assert permission.fault == ""


def test_what_is_refused_is_written_again_every_half_minute() -> None:
    permission = Permission()
    tried: list[int] = []
    for second in range(200):
        if second == 10:
            permission.answered(STATE, 135)
        if second == 100:
            permission.answered(STATE, 0)
        permission.try_again(second * S, lambda at=second: tried.append(at))  # type: ignore[misc]
    assert tried == [40, 70]
