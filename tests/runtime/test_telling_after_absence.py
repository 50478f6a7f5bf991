"""What phones and contacts are told when a broker that was away is back."""

from linetender.annunciation.payloads import Wall
from linetender.annunciation.words import HELPER_CAUTION
from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged, Demand, DemandChanged, Sound
from linetender.core.snapshot import AlarmView, Snapshot
from linetender.core.stages import Priority, Stage
from linetender.runtime.telling import Teller
from runtime.test_telling import AIR_SAYS, LOW_SAYS, PLAN, RUN

S = 1_000_000_000
WALL = Wall("2000-01-01T00:00:00+00:00", True)
CALLED = Demand(Sound.HIGH, 1, rule="air_lost", say=AIR_SAYS, far=Sound.HIGH, tell=("ann",))


class Town:
    """A broker that comes and goes; lines for people are kept with the second they came."""

    def __init__(self) -> None:
        self.there = True
        self.now_s = 0
        self.lines: list[tuple[int, str, str]] = []
        self.alarms: dict[str, AlarmView] = {}
        self.demand = Demand()
        self.teller = Teller(
            PLAN, RUN, self.publish, tells_events=False, is_connected=lambda: self.there
        )

    def publish(
        self,
        topic: str,
        payload: bytes,
        *,
        qos: int = 0,
        retain: bool = False,
        expiry_s: int | None = None,
    ) -> None:
        where = topic.removeprefix("linetender/bench/")
        if where == "say" or where.startswith("contact/"):
            self.lines.append((self.now_s, where, payload.decode()))

    def snapshot(self) -> Snapshot:
        alarms = tuple(self.alarms.values())
        return Snapshot(self.now_s * S, Stage.WORN, 1, (), alarms, self.demand, True, None)

    def change(self, rule: str, after: AlarmState, priority: Priority) -> None:
        before = self.alarms[rule].state if rule in self.alarms else AlarmState.NORMAL
        n = len(self.alarms) + 1
        self.alarms[rule] = AlarmView(rule, after, priority, self.now_s * S, n, "")
        if after is AlarmState.NORMAL:
            del self.alarms[rule]
        event = AlarmChanged(self.now_s * S, n, rule, before, after, priority)
        self.teller.events((event,), self.snapshot(), WALL)

    def call(self, demand: Demand) -> None:
        self.demand = demand
        self.teller.events((DemandChanged(self.now_s * S, demand),), self.snapshot(), WALL)

    def until(self, second: int) -> None:
        while self.now_s < second:
            self.now_s += 1
            self.teller.tick(self.now_s * S, self.snapshot(), WALL)


HIGH, MEDIUM = Priority.HIGH, Priority.MEDIUM
RAISED, OVER = AlarmState.UNACKNOWLEDGED, AlarmState.NORMAL


def test_what_is_still_active_is_told_once_with_one_line_that_sums_up() -> None:
    town = Town()
    town.until(10)
    town.there = False
    town.until(20)
    town.change("air_low", RAISED, MEDIUM)
    town.change("air_lost", RAISED, HIGH)
    town.call(CALLED)
    town.until(30)
    town.change("air_low", OVER, MEDIUM)
    town.until(40)
    assert town.lines == []
    town.there = True
    town.until(60)
    assert town.lines == [
        (41, "say", f"LEAVE, still: {AIR_SAYS} {HELPER_CAUTION}"),
        (41, "contact/ann", f"LEAVE at bench: {AIR_SAYS} {HELPER_CAUTION}"),
        (
            41,
            "say",
            "bench is heard again after 30 s: 4 messages were not sent meanwhile, "
            "1 alarm is active now.",
        ),
    ]


def test_a_call_that_ended_meanwhile_is_released_and_nothing_is_sent_twice() -> None:
    town = Town()
    town.until(5)
    town.change("air_lost", RAISED, HIGH)
    town.call(CALLED)
    town.there = False
    town.until(10)
    town.change("air_lost", OVER, HIGH)
    town.call(Demand())
    town.until(3_605)
    town.there = True
    town.until(3_700)
    back = [(where, line.partition(":")[0]) for at, where, line in town.lines if at > 5]
    assert back == [
        ("contact/ann", "Over at bench"),
        ("say", "bench is heard again after 60 min"),
    ]


def test_a_broker_that_was_away_in_a_calm_hour_is_nobodys_news() -> None:
    town = Town()
    town.there = False  # not there yet at the start
    town.until(30)
    town.there = True
    town.until(60)
    town.there = False
    town.until(90)
    town.there = True
    town.until(120)
    assert town.lines == []
    town.change("air_low", RAISED, MEDIUM)
    assert town.lines == [(120, "say", f"LOOK: {LOW_SAYS}")]
