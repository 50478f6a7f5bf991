"""What only doubted readings began, doubted ones may stop; nothing else of theirs lowers.

Held against an account of its own, second by second, that knows nothing of conditions.
"""

import msgspec
from hypothesis import given
from hypothesis import strategies as st

from core.watching import Bench, plan, rule
from linetender.core.conditions.condition import Verdict
from linetender.core.inputs import Reading, reading
from linetender.core.instants import SECOND_NS
from linetender.core.plan import AllOf, AnyOf, Below
from linetender.core.signals import Signal
from linetender.core.watch import Watch

SPO2, PULSE = Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM
LIMIT, CLEAR, ON_S = 90.0, 92.0, 3
LOW = Below(SPO2, LIMIT, CLEAR - LIMIT)

WORDS = st.lists(st.sampled_from(["89", "91", "95", "89?", "91?", "95?", "bad", "-"]), max_size=40)


def raised_at(words: list[str]) -> int | None:
    """Return the second at which the alarm must be raised, or None."""
    since: int | None = None
    on_doubt = False
    for second, word in enumerate(words):
        if since is not None and second - since >= ON_S:
            return since + ON_S
        if word in ("bad", "-"):
            continue
        value, doubted = float(word.rstrip("?")), word.endswith("?")
        if value < LIMIT and since is None:
            since, on_doubt = second, doubted
        elif value >= CLEAR and (on_doubt or not doubted):
            since = None
        elif not doubted:
            on_doubt = False
    return None


def play(bench: Bench, words: list[str], signal: Signal = SPO2) -> None:
    for second, word in enumerate(words):
        if word == "-":
            bench.advance(float(second))
        elif word == "bad":
            bench.bad(float(second), signal)
        else:
            doubt = "motion" if word.endswith("?") else None
            bench.good(float(second), signal, float(word.rstrip("?")), doubt=doubt)


@given(WORDS)
def test_the_raise_is_where_the_account_has_it(words: list[str]) -> None:
    bench = Bench(plan(rule(LOW, on_s=ON_S, off_s=1000)))
    play(bench, words)
    due_s = raised_at(words)
    assert bench.alarms() == ([] if due_s is None else [(due_s, "UNACKNOWLEDGED")])


@given(WORDS, st.integers(0, 40))
def test_it_outlives_a_new_watch(words: list[str], place: int) -> None:
    whole = Bench(plan(rule(LOW, on_s=ON_S, off_s=1000)))
    play(whole, words)
    first = Bench(plan(rule(LOW, on_s=ON_S, off_s=1000)))
    play(first, words[:place])
    second = Watch(first.watch.plan, first.watch.now_ns, first.watch.carryover())
    for at_s, word in enumerate(words):
        if at_s < place:
            continue
        if word == "-":
            second.advance(at_s * SECOND_NS)
        else:
            second.feed(_reading(at_s, word))
    assert msgspec.json.encode(second.carryover()) == msgspec.json.encode(whole.watch.carryover())


def _reading(at_s: int, word: str) -> Reading:
    if word == "bad":
        return reading(at_s * SECOND_NS, SPO2, reason="no_answer")
    doubt = "motion" if word.endswith("?") else None
    return reading(at_s * SECOND_NS, SPO2, float(word.rstrip("?")), doubt=doubt)


def test_any_of_keeps_what_another_part_began() -> None:
    slow = Below(PULSE, 40.0, 5.0)
    bench = Bench(plan(rule(AnyOf((LOW, slow)), on_s=ON_S), signals=(SPO2, PULSE)))
    bench.good(0.0, PULSE, 39.0)
    bench.bad(1.0, PULSE)
    bench.good(1.0, SPO2, 89.0, doubt="motion")
    bench.good(2.0, SPO2, 97.0, doubt="motion")
    bench.advance(5.0)
    assert bench.alarms() == [(3.0, "UNACKNOWLEDGED")]


def test_any_of_stops_with_its_only_part() -> None:
    bench = Bench(
        plan(rule(AnyOf((LOW, Below(PULSE, 40.0, 5.0))), on_s=ON_S), signals=(SPO2, PULSE))
    )
    bench.good(0.0, PULSE, 70.0)
    bench.good(0.0, SPO2, 89.0, doubt="motion")
    bench.good(1.0, SPO2, 97.0, doubt="motion")
    bench.advance(5.0)
    assert bench.alarms() == []


def test_all_of_stops_with_one_of_its_parts() -> None:
    bench = Bench(
        plan(rule(AllOf((LOW, Below(PULSE, 40.0, 5.0))), on_s=ON_S), signals=(SPO2, PULSE))
    )
    bench.good(0.0, PULSE, 39.0)
    bench.good(0.0, SPO2, 89.0, doubt="motion")
    bench.good(1.0, SPO2, 97.0, doubt="motion")
    bench.advance(5.0)
    assert bench.alarms() == []
    assert bench.watch.wiring.alarms[0].condition.verdict is Verdict.UNKNOWN


def test_a_raised_alarm_stays_through_doubted_good_ones() -> None:
    bench = Bench(plan(rule(LOW, on_s=1, latching=True)))
    play(bench, ["89?", "89?", *["97?"] * 200])
    assert bench.alarms() == [(1.0, "UNACKNOWLEDGED")]
