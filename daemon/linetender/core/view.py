"""Takes the frozen view of a Watch."""

from typing import TYPE_CHECKING

from linetender.core.alarm_table import SHOWN
from linetender.core.cause import Cause
from linetender.core.channel import Channel
from linetender.core.events import StepState
from linetender.core.inputs import Quality
from linetender.core.instants import NEVER_NS
from linetender.core.plan import AirPlan
from linetender.core.pre_use import CheckState, PreUse
from linetender.core.session import Session
from linetender.core.signals import Signal, rounded
from linetender.core.snapshot import (
    AlarmView,
    CauseView,
    CheckView,
    Question,
    SignalView,
    Snapshot,
    StepView,
)

if TYPE_CHECKING:
    from linetender.core.watch import Watch


def take_snapshot(watch: "Watch") -> Snapshot:
    """Return the whole station as it is now."""
    now_ns = watch.now_ns
    session = watch.use.session
    return Snapshot(
        now_ns=now_ns,
        stage=watch.use.stage,
        n=watch.journal.n,
        signals=tuple(
            _signal_view(channel, now_ns, watch.plan.air) for channel in watch.channels.values()
        ),
        alarms=tuple(
            AlarmView(
                alarm.plan.id,
                alarm.state,
                alarm.priority,
                alarm.since_ns,
                alarm.n,
                alarm.plan.say,
                _cause(watch, alarm.plan.id),
            )
            for alarm in watch.wiring.alarms
            if alarm.state in SHOWN
        ),
        demand=watch.telling.demand,
        air_armed=watch.use.watches_air(),
        air_baseline=watch.air.baseline if watch.air else None,
        first_out=watch.causes.first_out,
        check=_check(watch.use.check, now_ns),
        worn_for_ns=None if session.worn_ns == NEVER_NS else now_ns - session.worn_ns,
        question=_question(session),
    )


def _check(check: PreUse, now_ns: int) -> CheckView:
    if check.state is CheckState.NONE:
        return CheckView()
    steps = []
    for plan in check.plans:
        if plan.id not in check.steps:
            continue
        state = StepState(check.steps[plan.id])
        done, needed = check.progress(plan)
        limit_ns = check.limit_ns(plan)
        runs = state is StepState.WAITING and limit_ns != NEVER_NS
        left_ns = limit_ns - now_ns if runs and check.state is CheckState.RUNNING else None
        why = check.whys.get(plan.id, "")
        steps.append(StepView(plan.id, plan.kind, state, why, done, needed, left_ns))
    overrides = tuple(check.overrides.items())
    return CheckView(
        check.state, tuple(steps), overrides, check.awaits_sound, check.hands_on(now_ns)
    )


def _question(session: Session) -> Question:
    if session.asks_hood:
        return Question.HOOD
    return Question.FALSE_LEAVE if session.asks_false_leave else Question.NONE


def _cause(watch: "Watch", rule: str) -> CauseView | None:
    named = watch.causes.named.get(rule)
    if named is None:
        return None
    cause, confidence, *also = named
    return CauseView(Cause(cause), confidence, tuple(Cause(other) for other in also))


def _signal_view(channel: Channel, now_ns: int, air: AirPlan | None) -> SignalView:
    reason = channel.doubt
    quality = Quality.DEGRADED if channel.doubt else Quality.GOOD
    if channel.value is None:
        quality, reason = Quality.BAD, channel.reason or "no_reading_yet"
    last_ns = channel.last_good_ns
    return SignalView(
        signal=channel.signal,
        value=rounded(channel.signal, channel.value),
        reason=reason,
        quality=quality,
        age_ns=None if last_ns == -NEVER_NS else now_ns - last_ns,
        uncertainty=_uncertainty(channel, air),
    )


def _uncertainty(channel: Channel, air: AirPlan | None) -> float | None:
    """Only of the airflow is it known: as a part of it, at the flow where it matters."""
    if channel.signal is not Signal.AIRFLOW_L_MIN or channel.value is None or air is None:
        return None
    return rounded(channel.signal, channel.value * air.relative_uncertainty)
