"""A running station in lines of words: the live view for who does not look at it."""

from collections.abc import Iterable, Iterator

from linetender.annunciation.cause_words import cause_shown
from linetender.annunciation.words import PRIORITY_WORDS
from linetender.cli.live_view import SHOWN, SOUND_WORDS, note_on, state_word
from linetender.core.events import Sound
from linetender.core.inputs import Quality
from linetender.core.snapshot import AlarmView, SignalView, Snapshot
from linetender.core.stages import PRIORITY_RANK


def station_lines(snapshot: Snapshot) -> Iterator[str]:
    """Give how a station stands, a line for each thing, the most urgent first.

    Args:
        snapshot: How it stands.
    """
    if not snapshot.alarms:
        yield "No alarms."
    for alarm in sorted(snapshot.alarms, key=lambda view: -PRIORITY_RANK[view.priority]):
        yield _alarm(alarm, snapshot)
        cause = cause_shown(alarm)
        if cause:
            yield cause
    yield from _stands(snapshot)
    yield from (_signal(view) for view in _shown(snapshot))


def standing_lines(snapshot: Snapshot) -> Iterator[str]:
    """Give what of a station has no number and is no alarm; a new line is a change.

    Args:
        snapshot: How it stands.
    """
    yield from _stands(snapshot)
    for view in _shown(snapshot):
        if view.value is None or view.quality is not Quality.GOOD:
            yield f"{SHOWN[view.signal].name}: {_doubt(view)}."


def changes(before: Iterable[str], now: Iterable[str]) -> list[str]:
    """Return the lines that were not there before."""
    known = set(before)
    return [line for line in now if line not in known]


def _stands(snapshot: Snapshot) -> Iterator[str]:
    stage = snapshot.stage.value.replace("_", "-")
    watched = "watched" if snapshot.air_armed else "not watched yet"
    yield f"Stage {stage}. Air {watched}."
    sound = snapshot.demand.sound
    yield f"Sounder {'quiet' if sound is Sound.SILENT else SOUND_WORDS[sound]}."
    note = note_on(snapshot)
    if note:
        yield note


def _shown(snapshot: Snapshot) -> Iterator[SignalView]:
    views = {view.signal: view for view in snapshot.signals}
    return (views[signal] for signal in SHOWN if signal in views)


def _alarm(alarm: AlarmView, snapshot: Snapshot) -> str:
    return f"{PRIORITY_WORDS[alarm.priority]}, {state_word(alarm, snapshot)}: {alarm.say}"


def _signal(view: SignalView) -> str:
    name, unit, decimals = SHOWN[view.signal]
    if view.value is None:
        return f"{name}: {_doubt(view)}."
    text = f"{name}: {view.value:.{decimals}f} {unit}"
    if view.quality is not Quality.GOOD:
        return f"{text}, {_doubt(view)}."
    if view.uncertainty is not None:
        return f"{text}, give or take {2.0 * view.uncertainty:.0f} (95 %)."
    return f"{text}."


def _doubt(view: SignalView) -> str:
    reason = (view.reason or "").replace("_", " ")
    word = "no value" if view.value is None else "doubtful"
    return f"{word}, {reason}" if reason else word
