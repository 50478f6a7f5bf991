"""What to sound, show and say, and to whom: from the alarms' states to one Demand.

While worn, a killer reaches the second boxes and the contacts at once; everything
else sounds at the station first and farther away when it stays unanswered. Outside
use nobody is called. It ends with the condition gone and an answer, or with the
wearer's deliberate *out*.
"""

from collections.abc import Sequence

from linetender.core.alarm import Alarm
from linetender.core.alarm_table import SOUNDING, AlarmState
from linetender.core.check_in import CheckIn
from linetender.core.events import Demand, DemandChanged, Sound
from linetender.core.hands import Hands
from linetender.core.instants import NEVER_NS, SECOND_NS
from linetender.core.journal import Journal
from linetender.core.plan import Held
from linetender.core.prompts import Prompts
from linetender.core.stages import PRIORITY_RANK, Priority, Stage

FAR_AFTER_NS = 15 * SECOND_NS
"""An alarm that stays unanswered sounds at the second boxes after this."""
CALL_AFTER_NS = 60 * SECOND_NS
"""While worn, an unanswered HIGH alarm that is no killer calls contacts after this (chosen)."""
LONGEST_PAUSE_NS = 120 * SECOND_NS
"""A pause of sound ends by itself after at most this, and is for LOOK alarms only."""
FLOOD_STARTS = 10
FLOOD_ENDS = 5
FLOOD_WITHIN_NS = 600 * SECOND_NS
"""A flood begins over 10 alarms in 10 min and ends under 5 (public alarm-management practice)."""

_SOUNDS = {Priority.LOW: Sound.LOW, Priority.MEDIUM: Sound.MEDIUM, Priority.HIGH: Sound.HIGH}
_HIGH, _WORN = Priority.HIGH, Stage.WORN
_OPEN = frozenset({AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED, AlarmState.LATCHED})


class Telling:
    """Turns alarm states into a Demand, and says when it changes by itself.

    Attributes:
        demand: The last one.
        pause_until_ns: LOOK alarms up to transition `pause_n` are silent until then.
        told: Ids of the rules whose contacts have been called and not yet released.
        updated_ns: When the demand was computed last; what fell due since then is owed.
    """

    __slots__ = (
        "_alarms",
        "_check_in",
        "_contacts",
        "_hands",
        "_journal",
        "demand",
        "flood",
        "pause_n",
        "pause_until_ns",
        "prompts",
        "told",
        "updated_ns",
    )

    INSTANTS = ("pause_until_ns", "updated_ns")
    VALUES = ("pause_n", "told", "flood")

    def __init__(
        self,
        alarms: Sequence[Alarm],
        contacts: tuple[str, ...],
        hands: Hands,
        check_in: CheckIn,
        prompts: Prompts,
        journal: Journal,
    ) -> None:
        self._alarms = alarms
        self._contacts = contacts
        self._hands = hands
        self._check_in = check_in
        self._journal = journal
        self.prompts = prompts
        self.demand = Demand()
        self.pause_until_ns = -NEVER_NS
        self.pause_n = 0
        self.told: list[str] = []
        self.flood = False
        self.updated_ns = -NEVER_NS

    def pause(self, now_ns: int, duration_ns: int) -> None:
        """Silence the LOOK alarms that sound now, for a while."""
        self.pause_until_ns = now_ns + min(duration_ns, LONGEST_PAUSE_NS)
        self.pause_n = self._journal.n

    def due_ns(self, stage: Stage) -> int:
        """Return the first instant after the last update at which the demand changes by itself."""
        since_ns = self.updated_ns
        candidates = [
            self._hands.due_ns(since_ns),
            self.pause_until_ns,
            self._check_in.warns_from_ns(),
        ]
        if self.demand.sound is Sound.TICKS:
            # A good pulse ends the reminder without an event of its own: look each second.
            candidates.append((since_ns // SECOND_NS + 1) * SECOND_NS)
        for alarm in self._standing():
            if alarm.state in SOUNDING:
                candidates.append(alarm.since_ns + FAR_AFTER_NS)
                if alarm.plan.id not in self.told:
                    candidates.append(self._call_due_ns(alarm, stage))
        first_ns = NEVER_NS
        for due_ns in candidates:
            if since_ns < due_ns < first_ns:
                first_ns = due_ns
        return first_ns

    def moves_by_a_look(self, now_ns: int) -> bool:
        """Say whether the demand may change before its deadline, by being computed anew."""
        if self.flood and self._journal.starts_since(now_ns - FLOOD_WITHIN_NS) < FLOOD_ENDS:
            return True
        return self.demand.sound is Sound.TICKS

    def update(self, now_ns: int, stage: Stage) -> None:
        """Compute the demand; note it if it changed."""
        self.updated_ns = now_ns
        self._note_flood(now_ns)
        standing = self._standing()
        sounding = [alarm for alarm in standing if self._sounds_now(alarm, now_ns)]
        leading = max(sounding, key=_weight, default=None)
        demand = Demand(
            sound=_SOUNDS[leading.priority] if leading else self._ticks(now_ns),
            burst=self._journal.burst,
            light=_light(standing),
            rule=leading.plan.id if leading else "",
            say=self._sentence(leading) if leading else "",
            far=self._far(sounding, now_ns, stage),
            tell=self._tell(standing, now_ns, stage),
            cue=self.prompts.cue,
            code=tuple(self.prompts.code),
        )
        if demand != self.demand:
            self.demand = demand
            self._journal.events.append(DemandChanged(now_ns, demand))

    def _standing(self) -> list[Alarm]:
        """The few alarms of which there is anything to tell."""
        normal = AlarmState.NORMAL
        return [alarm for alarm in self._alarms if alarm.state is not normal]

    def _sounds_now(self, alarm: Alarm, now_ns: int) -> bool:
        if not alarm.sounds:
            return False
        is_paused = now_ns < self.pause_until_ns and alarm.n <= self.pause_n
        return not is_paused or alarm.priority is _HIGH

    def _ticks(self, now_ns: int) -> Sound:
        asks = self._hands.ticks(now_ns) or self.prompts.asks_hood
        reminds = now_ns >= self._check_in.warns_from_ns()
        return Sound.TICKS if asks or reminds else Sound.SILENT

    def _sentence(self, alarm: Alarm) -> str:
        if not self.flood or alarm.priority is Priority.HIGH:
            return alarm.plan.say
        return f"{alarm.plan.say} Many alarms at once: look at the station."

    def _far(self, sounding: list[Alarm], now_ns: int, stage: Stage) -> Sound:
        reaching = [
            alarm
            for alarm in sounding
            if self._may_leave_room(alarm)
            and (
                (alarm.plan.killer and stage is _WORN)
                or _is_call(alarm)
                or now_ns >= alarm.since_ns + FAR_AFTER_NS
            )
        ]
        return _SOUNDS[max(reaching, key=_weight).priority] if reaching else Sound.SILENT

    def _call_due_ns(self, alarm: Alarm, stage: Stage) -> int:
        if not self._may_leave_room(alarm):
            return NEVER_NS
        if _is_call(alarm):
            return alarm.since_ns
        if alarm.priority is not _HIGH or stage is not _WORN:
            return NEVER_NS
        return alarm.since_ns + (0 if alarm.plan.killer else CALL_AFTER_NS)

    def _tell(self, standing: list[Alarm], now_ns: int, stage: Stage) -> tuple[str, ...]:
        told: list[str] = []
        names: list[str] = []
        for alarm in standing:
            called = alarm.plan.id in self.told and alarm.state in _OPEN
            if called or (alarm.sounds and now_ns >= self._call_due_ns(alarm, stage)):
                told.append(alarm.plan.id)
                names += [name for name in self._names(alarm) if name not in names]
        self.told = told
        return tuple(names)

    def _may_leave_room(self, alarm: Alarm) -> bool:
        """After a power cut the room is asked first; a call for help waits for nobody."""
        return not self.prompts.asks_hood or _is_call(alarm)

    def _names(self, alarm: Alarm) -> tuple[str, ...]:
        return alarm.plan.calls or self._contacts

    def _note_flood(self, now_ns: int) -> None:
        starts = self._journal.starts_since(now_ns - FLOOD_WITHIN_NS)
        if starts > FLOOD_STARTS:
            self.flood = True
        elif starts < FLOOD_ENDS:
            self.flood = False


def _is_call(alarm: Alarm) -> bool:
    """Say whether it is the wearer's own call for help: everybody hears it, in any stage."""
    return isinstance(alarm.plan.condition, Held)


def _light(standing: list[Alarm]) -> Priority | None:
    shown = [alarm for alarm in standing if alarm.state in _OPEN]
    return max(shown, key=_weight).priority if shown else None


def _weight(alarm: Alarm) -> tuple[int, bool, int]:
    # Of two equals the later one leads: it is the news.
    return PRIORITY_RANK[alarm.priority], alarm.plan.killer, alarm.n
