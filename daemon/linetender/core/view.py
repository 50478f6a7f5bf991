"""Takes the frozen view of a Watch."""

from typing import TYPE_CHECKING

from linetender.core.alarm_table import SHOWN
from linetender.core.channel import Channel
from linetender.core.inputs import Quality
from linetender.core.instants import NEVER_NS
from linetender.core.signals import rounded
from linetender.core.snapshot import AlarmView, SignalView, Snapshot

if TYPE_CHECKING:
    from linetender.core.watch import Watch


def take_snapshot(watch: "Watch") -> Snapshot:
    """Return the whole station as it is now."""
    now_ns = watch.now_ns
    return Snapshot(
        now_ns=now_ns,
        stage=watch.use.stage,
        n=watch.journal.n,
        signals=tuple(_signal_view(channel, now_ns) for channel in watch.channels.values()),
        alarms=tuple(
            AlarmView(
                alarm.plan.id,
                alarm.state,
                alarm.priority,
                alarm.since_ns,
                alarm.n,
                alarm.plan.say,
            )
            for alarm in watch.wiring.alarms
            if alarm.state in SHOWN
        ),
        demand=watch.telling.demand,
        air_armed=watch.use.watches_air(),
        air_baseline=watch.air.baseline if watch.air else None,
    )


def _signal_view(channel: Channel, now_ns: int) -> SignalView:
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
    )
