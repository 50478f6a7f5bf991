"""What the station says to itself, and what it makes of silence."""

from typing import Any

from linetender.core.fact_names import FactName
from linetender.core.inputs import Fact
from linetender.core.plan import Arrangement, Plan
from linetender.runtime.inbox import Inbox
from linetender.runtime.loop_back import LoopBack
from linetender.runtime.telling import Teller
from runtime.test_far_ends import StandingClock

S = 1_000_000_000


def test_a_word_that_does_not_come_back_is_told_and_one_that_does_ends_it() -> None:
    sent: list[tuple[int, bytes]] = []
    now_s = 0

    def publish(topic: str, payload: bytes, *, qos: int, expiry_s: int, **_: Any) -> None:
        assert (topic, qos, expiry_s) == ("selftest", 1, 5)
        sent.append((now_s, payload))

    plan = Plan("shed", Arrangement.WEARER_SIDE, None, (), (), ())
    inbox = Inbox(StandingClock())
    loop_back = LoopBack("selftest", Teller(plan, "0a1b2c3d", publish), inbox, 0)
    told: list[tuple[int, bool]] = []
    confirmed: list[int] = []
    for now_s in range(120):
        loop_back.look(now_s * S, connected=not 60 <= now_s < 80)
        if sent and sent[-1][0] == now_s and (now_s < 20 or now_s >= 95):
            loop_back.hear(sent[-1][1], now_s * S)
        if now_s == 50:
            loop_back.hear(b"ffffffff-1", now_s * S)  # of another run
        facts = [one for one in inbox.take() if isinstance(one, Fact)]
        told += [(now_s, one.active) for one in facts if one.fact == FactName.BROKER_LOST]
        confirmed += [now_s for one in facts if one.fact == FactName.DELIVERY_CONFIRMED]
    assert [at for at, _ in sent] == [0, 10, 20, 30, 40, 50, 80, 90, 100, 110]
    assert told == [(40, True), (60, False)]
    assert confirmed == [0, 10, 100, 110]
