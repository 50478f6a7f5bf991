"""Gathers what a Watch must leave to its successor, and puts it back.

With age 0 the successor continues identically. After a restart raising timers
count down the blind time as far as it is known, off-delays start again and open
windows are empty; no state is lowered and nothing is cleared.
"""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, Protocol, runtime_checkable

import msgspec

from linetender.core.carryover import Carryover
from linetender.core.events import Demand
from linetender.core.instants import NEVER_NS, SECOND_NS
from linetender.core.keeping import keep, restore
from linetender.core.stages import Stage

if TYPE_CHECKING:
    from linetender.core.watch import Watch

BASELINE_KEPT_NS = 900 * SECOND_NS
"""What was normal before a longer time without watching, or one of unknown length, says
nothing any more (chosen: a restart or a short power cut passes, a lunch does not)."""


@runtime_checkable
class _HasHistory(Protocol):
    def lose_history(self) -> None: ...


def keep_all(watch: "Watch") -> Carryover:
    """Return all mutable state of a Watch."""
    parts = {name: keep(holder, watch.now_ns) for name, holder in _holders(watch)}
    parts["baselines"] = {signal.value: value for signal, value in watch.baselines.items()}
    parts["demand"] = msgspec.to_builtins(watch.telling.demand)
    return Carryover(parts)


def restore_all(watch: "Watch", carryover: Carryover) -> None:
    """Put the state of an earlier Watch into a new one."""
    now_ns = watch.now_ns
    blind_ns = (carryover.blind_ns or 0) if carryover.is_restart else 0
    holders = dict(_holders(watch))
    for name, holder in holders.items():
        restore(holder, carryover.parts.get(name, {}), now_ns - blind_ns)
    for signal in watch.baselines:
        watch.baselines[signal] = carryover.parts.get("baselines", {}).get(signal.value)
    if "demand" in carryover.parts:
        watch.telling.demand = msgspec.convert(carryover.parts["demand"], Demand)
    if watch.air is not None:
        watch.air.scale()
    if carryover.is_restart:
        _restart(watch, holders, silence_known=carryover.blind_ns is not None)
        _forget_old_baselines(watch, carryover.blind_ns)
        watch.use.resume(now_ns, carryover.blind_ns)
    watch.resume_rules()


def _forget_old_baselines(watch: "Watch", blind_ns: int | None) -> None:
    """Keep what was normal for this session only across a short time without watching."""
    if blind_ns is not None and blind_ns <= BASELINE_KEPT_NS:
        return
    if watch.air is not None:
        watch.air.forget_baseline(watch.now_ns)
    for baseline in watch.wearer:
        baseline.discard(watch.now_ns, "too_old")
        if watch.use.stage is Stage.WORN:
            baseline.gather("worn")
    watch.use.note_baselines()


def _restart(watch: "Watch", holders: dict[str, Any], *, silence_known: bool) -> None:
    now_ns = watch.now_ns
    for holder in holders.values():
        if isinstance(holder, _HasHistory):
            holder.lose_history()
    for alarm in watch.wiring.alarms:
        alarm.clear_due_ns = NEVER_NS
        alarm.raise_due_ns = max(alarm.raise_due_ns, now_ns)
        alarm.rise_due_ns = max(alarm.rise_due_ns, now_ns)
        alarm.realarm_due_ns = max(alarm.realarm_due_ns, now_ns)
    watch.hands.close()
    if not silence_known:
        # Nobody knows for how long: silence counts from now, running delays go on.
        for leaf, alarm in watch.wiring.leaves:
            if not alarm.present:
                leaf.begin(now_ns)


def _holders(watch: "Watch") -> Iterator[tuple[str, object]]:
    yield "journal", watch.journal
    yield "hands", watch.hands
    yield "check_in", watch.check_in
    yield "telling", watch.telling
    yield "use", watch.use
    yield "pre_use", watch.use.check
    yield "session", watch.use.session
    yield "prompts", watch.use.check.prompts
    if watch.air is not None:
        yield "air", watch.air
    yield "causes", watch.causes
    yield "air_evidence", watch.air_evidence
    for baseline in watch.wearer:
        yield f"wearer/{baseline.signal}", baseline
    for channel in watch.channels.values():
        yield f"channel/{channel.signal}", channel
    for alarm in watch.wiring.alarms:
        yield f"alarm/{alarm.plan.id}", alarm
        yield f"recent/{alarm.plan.id}", watch.wiring.recents[alarm.plan.id]
    places: dict[str, int] = {}
    for leaf, alarm in watch.wiring.leaves:
        place = places[alarm.plan.id] = places.get(alarm.plan.id, -1) + 1
        yield f"condition/{alarm.plan.id}/{place}", leaf
