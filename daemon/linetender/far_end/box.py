"""A second box as a whole: its stations, its one button, its one sounder. Pure."""

from typing import NamedTuple

from linetender.annunciation.far_payloads import Confirm, Gesture, Role
from linetender.core.events import Demand, Sound
from linetender.core.hands import Hands, Meaning
from linetender.core.instants import SECOND_NS
from linetender.core.stages import PRIORITY_RANK, Priority
from linetender.far_end.remote_watch import RemoteWatch, Silence, Wants

STATION_SILENT = "station_silent"
"""The leading alarm of a demand that asks for the box's own failure sound."""

HELP = "help_called"
"""The leading alarm of a demand while somebody at this box calls for help."""

HELD_NS = 2 * SECOND_NS
"""A press of this length calls for help, as at the station."""

_RANK = {
    Sound.SILENT: 0,
    Sound.TICKS: 1,
    Sound.LOW: 2,
    Sound.MEDIUM: 3,
    Sound.HIGH: 4,
}


class Pressed(NamedTuple):
    """What a station is to be told of the button."""

    station: str
    gesture: Gesture


class Box:
    """What a second box does, for all its stations.

    Args:
        watches: One for each station.
    """

    def __init__(self, watches: tuple[RemoteWatch, ...]) -> None:
        self.watches = {watch.station: watch for watch in watches}
        self._hands = Hands()
        self._down_ns: int | None = None
        self._held = False
        self._help = False

    def button(self, now_ns: int, *, is_down: bool) -> tuple[Pressed, ...]:
        """Take the state of the button; return what stations are to be told."""
        was_down = self._down_ns is not None
        if is_down and not was_down:
            self._down_ns, self._held = now_ns, False
            return self._tap(now_ns)
        if not is_down:
            self._down_ns = None
        return ()

    def look(self, now_ns: int) -> tuple[Pressed, ...]:
        """Notice a press that has become a call for help."""
        if self._down_ns is None or self._held or now_ns - self._down_ns < HELD_NS:
            return ()
        self._held = self._help = True
        wearers = [watch for watch in self.watches.values() if watch.role is Role.WEARER]
        told = wearers or list(self.watches.values())
        return tuple(Pressed(watch.station, Gesture.HOLD) for watch in told if watch.run)

    def _tap(self, now_ns: int) -> tuple[Pressed, ...]:
        watches = self.watches.values()
        sounding = [one for one in watches if one.wants(now_ns).sound is not Sound.SILENT]
        quieted = [one for one in watches if one.is_quieted(now_ns)]
        meaning = self._hands.press(
            now_ns, sounds=bool(sounding) or self._help, can_end=bool(quieted)
        )
        told = [one for one in watches if one.role is Role.WEARER]
        if meaning is Meaning.ANSWER:
            told = sounding
        pressed = tuple(
            Pressed(one.station, Gesture.TAP)
            for one in told
            if one.beat and one.silence(now_ns) is Silence.NONE
        )
        if meaning is Meaning.ANSWER:
            self._help = False
            for watch in sounding:
                watch.answer(now_ns)
        elif meaning is Meaning.ENDS:
            for watch in quieted:
                watch.dismiss()
        return pressed

    def demand(self, now_ns: int) -> Demand:
        """Say what to sound and show now."""
        wants = [watch.wants(now_ns) for watch in self.watches.values()]
        light = max(
            (one.light for one in wants if one.light), key=PRIORITY_RANK.__getitem__, default=None
        )
        leading = max(wants, key=_weight, default=Wants())
        if self._help and _RANK[leading.sound] < _RANK[Sound.HIGH]:
            return Demand(Sound.HIGH, light=Priority.HIGH, rule=HELP, say="Help is called for.")
        if leading.sound is Sound.SILENT:
            ticks = Sound.TICKS if self._hands.ticks(now_ns) else Sound.SILENT
            said = next((one.say for one in wants if one.say), "")
            return Demand(ticks, light=light, say=said)
        rule = STATION_SILENT if leading.is_failure else leading.rule
        return Demand(leading.sound, light=light, rule=rule, say=leading.say)

    def confirms(self, now_ns: int, *, sounder_works: bool) -> dict[str, Confirm]:
        """Return what each station that is heard is to be told, by its id."""
        made = {}
        for name, watch in self.watches.items():
            if watch.beat and watch.silence(now_ns) is Silence.NONE:
                sound = watch.wants(now_ns).sound if sounder_works else Sound.SILENT
                shown = watch.shown(now_ns) if sounder_works else 0
                made[name] = Confirm(watch.run, watch.beat, shown, sound)
        return made

    def next_change(self, now_ns: int) -> int | None:
        """Return the next instant at which the demand may change by itself, or None."""
        candidates = [watch.next_change(now_ns) for watch in self.watches.values()]
        candidates.append(self._hands.due_ns(now_ns))
        if self._down_ns is not None and not self._held:
            candidates.append(self._down_ns + HELD_NS)
        return min((due for due in candidates if due is not None), default=None)


def _weight(wants: Wants) -> tuple[int, bool]:
    return _RANK[wants.sound], wants.is_failure
