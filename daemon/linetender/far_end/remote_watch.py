"""What a second box makes of one station: what it asks for, and what its silence means.

Pure: the instant is an argument. Retained messages set stage and alarms, never age:
only a heartbeat that is sent now shows that the station lives.
"""

from collections import deque
from enum import IntEnum
from typing import NamedTuple

import msgspec

from linetender.annunciation.far_payloads import Role
from linetender.annunciation.payloads import AlarmSummary, Alive, State
from linetender.core.alarm_table import SOUNDING, AlarmState
from linetender.core.events import Sound
from linetender.core.instants import MILLISECOND_NS, SECOND_NS
from linetender.core.stages import PRIORITY_RANK, Priority, Stage

LOOK_AFTER_NS = {Role.WEARER: 4 * SECOND_NS, Role.ATTENDANT: 20 * SECOND_NS}
LEAVE_AFTER_NS = {Role.WEARER: 10 * SECOND_NS, Role.ATTENDANT: 60 * SECOND_NS}
"""Silence for so long is LOOK, and LEAVE (chosen; a heartbeat comes each second)."""

QUIET_NS = {Role.WEARER: 15 * SECOND_NS, Role.ATTENDANT: 120 * SECOND_NS}
"""What a press at the box buys: as at the station for a wearer, long enough to go there
for an attendant (chosen)."""

SHOWN_AFTER_NS = 300 * MILLISECOND_NS
"""An alarm counts as heard by people once it has sounded for so long."""

LONGEST_TEXT = 300
"""Of a sentence that is shown; ours are shorter (chosen)."""

PAST_RUNS = 16
"""Runs of the station that are over and remembered, so that none comes back."""

_IN_USE = frozenset({Stage.PRE_USE, Stage.WORN})
_OPEN = frozenset({AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED, AlarmState.LATCHED})


class Silence(IntEnum):
    """What the station's silence means now."""

    NONE = 0
    LOOK = 1
    LEAVE = 2


class Remembered(msgspec.Struct, frozen=True):
    """What of a station outlives a restart of the box.

    Attributes:
        run: The last run that was heard.
        seq: Number of the last state that was taken.
        stage: The last stage of use.
        sounded: Whether an alarm was sounding.
    """

    run: str
    seq: int
    stage: Stage
    sounded: bool


class Wants(NamedTuple):
    """What one station wants of the box.

    Attributes:
        sound: What to sound.
        is_failure: Whether by the box's own failure sound.
        light: Highest priority of what is the matter, quiet or not.
        rule: The leading alarm, or empty.
        say: A sentence for people, or empty.
    """

    sound: Sound = Sound.SILENT
    is_failure: bool = False
    light: Priority | None = None
    rule: str = ""
    say: str = ""


class RemoteWatch:
    """One station as a second box hears it.

    Args:
        station: Its id.
        role: Who is near the box.
        started_ns: The instant at which the box started.
        remembered: What an earlier run of the box left, or None. A station that was in
            use then counts as heard at the start.
    """

    def __init__(
        self, station: str, role: Role, started_ns: int, remembered: Remembered | None = None
    ) -> None:
        self.station = station
        self.role = role
        self.run = remembered.run if remembered else ""
        self.stage = remembered.stage if remembered else None
        self.beat = 0
        self._state_seq = remembered.seq if remembered else 0
        self._sounded = remembered is not None and remembered.sounded
        self._past: deque[str] = deque(maxlen=PAST_RUNS)
        self._asked = Sound.SILENT
        self._alarms: tuple[AlarmSummary, ...] = ()
        self._heard_ns = started_ns
        self._quiet_until_ns = started_ns
        self._quiet_n = -1
        self._quiet_silence = Silence.NONE
        self._top = self._shown_before = 0
        self._top_ns = started_ns - SHOWN_AFTER_NS

    # What comes

    def hear_alive(self, now_ns: int, alive: Alive, *, retained: bool) -> None:
        """Take a heartbeat; one that was kept, or comes again, shows nothing."""
        if retained or alive.run in self._past:
            return
        if alive.run == self.run and alive.seq <= self.beat:
            return
        self._begin_run(alive.run, now_ns)
        self.beat = alive.seq
        self.stage = alive.stage
        self._heard_ns = now_ns
        self._quiet_silence = Silence.NONE
        self._ask(now_ns, alive.far)

    def hear_state(self, now_ns: int, state: State) -> None:
        """Take the station's state, kept or new; an older one than the last is passed over."""
        if state.run in self._past or (state.run == self.run and state.seq <= self._state_seq):
            return
        if self.stage is None:
            self._heard_ns = now_ns
        self._begin_run(state.run, now_ns)
        self._state_seq = state.seq
        self.stage = state.stage
        self._alarms = state.alarms
        self._ask(now_ns, state.far)

    def _begin_run(self, run: str, now_ns: int) -> None:
        if run == self.run:
            return
        if self.run:
            self._past.append(self.run)
        self.run = run
        self.beat = self._state_seq = self._top = self._shown_before = 0
        self._top_ns = now_ns - SHOWN_AFTER_NS
        self._quiet_n = -1
        self._alarms = ()

    def _ask(self, now_ns: int, asked: Sound) -> None:
        self._asked = asked
        self._sounded = asked is not Sound.SILENT or any(
            alarm.state in SOUNDING for alarm in self._alarms
        )
        if asked is Sound.SILENT:
            return
        top = max((alarm.n for alarm in self._alarms if alarm.state in SOUNDING), default=0)
        if top > self._top:
            self._shown_before = self.shown(now_ns)
            self._top, self._top_ns = top, now_ns

    # Hands

    def answer(self, now_ns: int) -> None:
        """Quiet what sounds now, for a while; nothing newer and nothing worse."""
        self._quiet_until_ns = now_ns + QUIET_NS[self.role]
        self._quiet_n = self.shown(now_ns)
        self._quiet_silence = self.silence(now_ns)

    def dismiss(self) -> None:
        """Take a person's word that nobody is in there: silence counts no more."""
        self.stage = Stage.IDLE
        self._asked, self._alarms, self._sounded = Sound.SILENT, (), False

    # What follows

    def silence(self, now_ns: int) -> Silence:
        """Say what the station's silence means."""
        if self.stage not in _IN_USE and not self._sounded:
            return Silence.NONE
        age_ns = now_ns - self._heard_ns
        if age_ns >= LEAVE_AFTER_NS[self.role]:
            return Silence.LEAVE
        return Silence.LOOK if age_ns >= LOOK_AFTER_NS[self.role] else Silence.NONE

    def is_quieted(self, now_ns: int) -> bool:
        """Say whether silence is the matter and a press has quieted it."""
        silence = self.silence(now_ns)
        answered = silence <= self._quiet_silence and now_ns < self._quiet_until_ns
        return silence is not Silence.NONE and answered

    def shown(self, now_ns: int) -> int:
        """Return the highest number of an alarm that has sounded for 0.3 s."""
        is_heard = now_ns - self._top_ns >= SHOWN_AFTER_NS
        return self._top if is_heard else self._shown_before

    def wants(self, now_ns: int) -> Wants:
        """Say what to sound and show now."""
        silence = self.silence(now_ns)
        sounds_silence = silence is not Silence.NONE and not self.is_quieted(now_ns)
        asked = self._asked_aloud(now_ns)
        light = self._light(silence)
        if sounds_silence and (silence is Silence.LEAVE or asked in (Sound.SILENT, Sound.LOW)):
            sound = Sound.HIGH if silence is Silence.LEAVE else Sound.MEDIUM
            return Wants(sound, True, light, "", self._silence_sentence(silence))
        if asked is not Sound.SILENT:
            leading = self._leading()
            text = leading.text if leading else "An alarm sounds there."
            rule = leading.rule if leading else ""
            return Wants(asked, False, light, rule, f"{self.station}: {shown_text(text)}")
        said = self._silence_sentence(silence) if silence is not Silence.NONE else ""
        return Wants(light=light, say=said)

    def next_change(self, now_ns: int) -> int | None:
        """Return the next instant at which any of this changes by itself, or None."""
        heard_ns = self._heard_ns
        candidates = (
            heard_ns + LOOK_AFTER_NS[self.role],
            heard_ns + LEAVE_AFTER_NS[self.role],
            self._quiet_until_ns,
            self._top_ns + SHOWN_AFTER_NS,
        )
        return min((due_ns for due_ns in candidates if due_ns > now_ns), default=None)

    @property
    def remembered(self) -> Remembered | None:
        """What must outlive a restart; None of a station that never was heard."""
        if self.stage is None:
            return None
        return Remembered(self.run, self._state_seq, self.stage, self._sounded)

    def _asked_aloud(self, now_ns: int) -> Sound:
        is_quiet = now_ns < self._quiet_until_ns and self._top <= self._quiet_n
        return Sound.SILENT if is_quiet else self._asked

    def _leading(self) -> AlarmSummary | None:
        sounding = [alarm for alarm in self._alarms if alarm.state in SOUNDING]
        return max(sounding, key=_weight, default=None)

    def _light(self, silence: Silence) -> Priority | None:
        if silence is Silence.LEAVE:
            return Priority.HIGH
        shown = [alarm.priority for alarm in self._alarms if alarm.state in _OPEN]
        if silence is Silence.LOOK:
            shown.append(Priority.MEDIUM)
        return max(shown, key=PRIORITY_RANK.__getitem__, default=None)

    def _silence_sentence(self, silence: Silence) -> str:
        if silence is Silence.LOOK:
            return f"{self.station} is not heard. Look at the station."
        if self.role is Role.WEARER:
            return f"{self.station} is not heard: nothing watches. Leave, then take the hood off."
        return f"{self.station} is not heard: nothing watches whoever is in there. Call them out."


def shown_text(text: str) -> str:
    """Return what a terminal may show of a text that came by the broker."""
    return "".join(each if each.isprintable() else " " for each in text[:LONGEST_TEXT])


def _weight(alarm: AlarmSummary) -> tuple[int, int]:
    return PRIORITY_RANK[alarm.priority], alarm.n
