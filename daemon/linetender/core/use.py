"""The stages of use, and the people who move them: button, hook, commands, evident wear."""

from linetender.core.air import Air
from linetender.core.alarm import Alarm
from linetender.core.alarm_table import AlarmState
from linetender.core.channel import Channel
from linetender.core.check_in import CheckIn
from linetender.core.events import Sound, StageChanged
from linetender.core.hands import PRESS_SEES_AFTER_NS, Hands, Meaning
from linetender.core.inputs import By, ContactState, Fact
from linetender.core.instants import NEVER_NS, SECOND_NS
from linetender.core.journal import Journal
from linetender.core.pre_use import CheckState, PreUse
from linetender.core.session import Session
from linetender.core.stages import Stage
from linetender.core.telling import Telling
from linetender.core.wearer import WearerBaseline
from linetender.core.wiring import Wiring

EVIDENT_S = 30
"""Air good and a valid pulse for this long, without a hook: the hood is evidently worn."""
NOT_CHECKED_AFTER_S = 600
"""Good air in idle for this long with nobody starting: a LOOK says that it is not checked."""
PULSE_VALID_NS = 5 * SECOND_NS


class Use:
    """Where the person is in their day, and what moves them on.

    Attributes:
        stage: The present stage.
        check: The pre-use check.
        session: The use of now, and the questions around it.
        hook: Last known state of the hood hook.
        pressed: Whether the answer button is down.
        evident_since_ns: Since when the hood has evidently been worn.
        not_checked: Whether the line has run for long with nobody starting.
        looked_second: The second of air at which evident wear was judged last.
    """

    __slots__ = (
        "_journal",
        "air",
        "alarms",
        "check",
        "check_in",
        "evident_since_ns",
        "hands",
        "hook",
        "looked_second",
        "not_checked",
        "pressed",
        "pulse",
        "session",
        "stage",
        "telling",
        "wearer",
        "wiring",
    )

    INSTANTS = ("evident_since_ns",)
    VALUES = ("stage", "hook", "pressed", "not_checked", "looked_second")

    def __init__(
        self,
        wiring: Wiring,
        air: Air | None,
        wearer: tuple[WearerBaseline, ...],
        telling: Telling,
        hands: Hands,
        check_in: CheckIn,
        check: PreUse,
        session: Session,
        pulse: Channel | None,
        journal: Journal,
    ) -> None:
        self.stage = Stage.IDLE
        self.hook = ""
        self.pressed = False
        self.evident_since_ns = NEVER_NS
        self.not_checked = False
        self.looked_second = -1
        self.wiring = wiring
        self.alarms: list[Alarm] = wiring.alarms
        self.air = air
        self.wearer = wearer
        self.telling = telling
        self.hands = hands
        self.check_in = check_in
        self.check = check
        self.session = session
        self.pulse = pulse
        self._journal = journal

    # Which rules work now

    def watches_air(self) -> bool:
        """Say whether loss of air is watched now."""
        if self.stage is Stage.WORN or (self.stage is Stage.PRE_USE and self._hood_is_off_hook()):
            return True
        armed = self.air is not None and self.air.is_armed
        return armed and self.stage is not Stage.SERVICE

    def apply_rules(self, now_ns: int) -> None:
        """Tell each alarm whether its rule works in the present stage."""
        watches_air = self.watches_air()
        for alarm in self.alarms:
            in_stage = self.stage in alarm.plan.stages
            alarm.apply(now_ns, in_stage and (watches_air or not alarm.plan.loss_of_air))
        for channel in self.wiring.channels.values():
            channel.requiet()

    # Hands

    def see_contact(self, now_ns: int, contact: str, state: ContactState) -> None:
        """Act on the answer button's edges and the hook's."""
        if contact == "answer":
            was_pressed, self.pressed = self.pressed, state is ContactState.CLOSED
            self._see_button(now_ns, was_pressed)
        elif contact == "arm":
            self.check.see_armed(now_ns, state)
            self._follow_check(now_ns)
        elif contact == "hook" and state is not ContactState.BROKEN and state.value != self.hook:
            was_known, self.hook = self.hook != "", state.value
            if state is ContactState.OPEN and self.stage is not Stage.WORN:
                self._lift_hood(now_ns)
            elif state is ContactState.CLOSED and was_known and self.stage is Stage.WORN:
                self.finish(now_ns, "hood on its hook")

    def _see_button(self, now_ns: int, was_pressed: bool) -> None:
        if self.session.asks_hood:
            # A hold must not be taken for the tap that says "off": judged on letting go.
            if self.pressed and not was_pressed:
                self.session.press(now_ns)
            elif was_pressed and not self.pressed and self.session.release(now_ns):
                self.finish(now_ns, "button, the hood was off")
        elif self.pressed and not was_pressed:
            self.press(now_ns)

    def _hood_is_off_hook(self) -> bool:
        return self.hook == ContactState.OPEN.value

    def _lift_hood(self, now_ns: int) -> None:
        """The hood leaves its hook: it is worn, unless that belongs to the check itself."""
        for_the_test = self.check.state is CheckState.RUNNING and self.check.card_is_confirmed
        if not (self.stage is Stage.PRE_USE and for_the_test):
            self.wear(now_ns, "hood off its hook")

    def press(self, now_ns: int) -> None:
        """Act on a press of the wearer's button."""
        sounds = self.telling.demand.sound not in (Sound.SILENT, Sound.TICKS)
        can_end = self.stage is Stage.WORN or self._has_quiet_killer()
        meaning = self.hands.press(now_ns, sounds=sounds, can_end=can_end)
        if meaning is Meaning.ANSWER:
            self._answer_by_press(now_ns)
        elif meaning is Meaning.ENDS:
            self.finish(now_ns, "button")
        elif meaning is Meaning.STEP:
            self._step(now_ns)
        # Last: what the press answers must not have returned by the press itself.
        self.sign_of_life(now_ns)

    def sign_of_life(self, now_ns: int) -> None:
        """Note that the wearer gave a sign."""
        self.check_in.sign(now_ns)
        self.wiring.reassure_check_in(now_ns)
        self.session.reassure(now_ns)

    def _answer_by_press(self, now_ns: int) -> None:
        heard = [
            alarm
            for alarm in self.alarms
            if alarm.sounds and alarm.changed_ns <= now_ns - PRESS_SEES_AFTER_NS
        ]
        if self.stage is Stage.IDLE and any(alarm.plan.loss_of_air for alarm in heard):
            self.finish(now_ns, "button")
            return
        for alarm in heard:
            alarm.acknowledge(now_ns, By.WEARER.value)

    def acknowledge(self, now_ns: int, by: By, shown: int) -> None:
        """Answer what its sender saw; only the wearer answers a killer."""
        for alarm in self.answerable(by, shown):
            alarm.acknowledge(now_ns, by.value)
        if by is By.WEARER:
            self.sign_of_life(now_ns)

    def answerable(self, by: By, shown: int) -> list[Alarm]:
        """Return the alarms that an acknowledgement would answer."""
        return [
            alarm
            for alarm in self.alarms
            if alarm.n <= shown
            and (alarm.sounds or alarm.state is AlarmState.RETURNED)
            and (by is By.WEARER or not alarm.plan.killer)
        ]

    def _has_quiet_killer(self) -> bool:
        return any(a.plan.killer and a.state is AlarmState.ACKNOWLEDGED for a in self.alarms)

    # Stages

    def begin_pre_use(self, now_ns: int, why: str) -> None:
        """Start the pre-use check."""
        self._move(now_ns, Stage.PRE_USE, why)
        self.session.close_false_leave()
        self.not_checked = False
        for baseline in self.wearer:
            baseline.gather("pre_use")
        self.check.begin(now_ns)
        self._enter(now_ns)
        self._follow_check(now_ns)

    def override(self, now_ns: int, why: str, step: str, reason: str) -> None:
        """Go on with the check, or begin it, without a step."""
        if self.stage is Stage.IDLE:
            self.begin_pre_use(now_ns, why)
        self.check.override(now_ns, step, reason)
        self._follow_check(now_ns)

    def _follow_check(self, now_ns: int) -> None:
        """Move the stage with what became of the check."""
        if self.stage is not Stage.PRE_USE or self.check.state is CheckState.RUNNING:
            return
        if self.check.state is CheckState.REFUSED:
            # Nothing is disarmed: whoever goes on all the same is watched all the same.
            self._move(now_ns, Stage.IDLE, "pre-use check refused")
            self.hands.close()
            self.apply_rules(now_ns)
        if self._hood_is_off_hook():
            self.wear(now_ns, "hood off its hook")

    def wear(self, now_ns: int, why: str) -> None:
        """The hood is on: everything is watched from this instant."""
        checked = self.check.wear(now_ns)
        self._move(now_ns, Stage.WORN, why)
        self.session.begin(now_ns)
        self.not_checked = False
        self.check_in.wear(now_ns, True)
        for baseline in self.wearer:
            baseline.gather("worn")
        if checked:
            for alarm in self.alarms:
                alarm.reset(now_ns, "pre-use check accepted")
        self._enter(now_ns)

    def finish(self, now_ns: int, why: str) -> None:
        """End the use deliberately; with a killer present the wearer is *out*."""
        is_out = any(a.plan.killer and (a.present or a.sounds) for a in self.alarms)
        self.leave(now_ns, why, is_out=is_out)

    def leave(self, now_ns: int, why: str, *, is_out: bool) -> None:
        """Go back to idle; what only a person can end, ends."""
        self.hands.close()
        self.check_in.wear(now_ns, False)
        for leaf, alarm in self.wiring.leaves:
            if leaf.settle():
                alarm.conclude(now_ns)
        for recent in self.wiring.recents.values():
            recent.forget()
        if self.air is not None:
            self.air.disarm(now_ns)
        for baseline in self.wearer:
            baseline.discard(now_ns)
        self.note_baselines()
        was_worn = self.stage is Stage.WORN
        self.check.break_off(now_ns, why)
        self.check.clear()
        self._move(now_ns, Stage.IDLE, f"{why}, out" if is_out else why)
        if was_worn:
            self.session.end(now_ns, self.alarms)
        self.apply_rules(now_ns)
        for alarm in self.alarms:
            if is_out or not alarm.applies:
                alarm.go_out(now_ns, "out" if is_out else "end")
            else:
                alarm.reset(now_ns, "end")

    def service(self, now_ns: int) -> None:
        """Start or end maintenance: nothing is watched meanwhile."""
        if self.stage is Stage.SERVICE:
            self.leave(now_ns, "service ended", is_out=False)
        else:
            self.leave(now_ns, "service begins", is_out=False)
            self._move(now_ns, Stage.SERVICE, "service")
            self.apply_rules(now_ns)

    def _step(self, now_ns: int) -> None:
        if self.stage is Stage.IDLE and self.session.asks_false_leave:
            self.session.mark_false(now_ns)
        elif self.stage is Stage.IDLE:
            self.begin_pre_use(now_ns, "button")
        elif self.stage is Stage.PRE_USE and self.check.state is CheckState.READY:
            self.wear(now_ns, "button")
        elif self.stage is Stage.PRE_USE:
            self.check.press(now_ns)
            self._follow_check(now_ns)

    def see_fact(self, now_ns: int, fact: Fact) -> None:
        """Take a fact that a step of the check waits for."""
        if self.stage is Stage.PRE_USE:
            self.check.see_fact(now_ns, fact)
            self._follow_check(now_ns)

    def resume(self, now_ns: int, blind_ns: int | None) -> None:
        """Go on after a restart; `blind_ns` None means that nobody knows for how long."""
        if self.stage is Stage.PRE_USE:
            self.check.break_off(now_ns, "the station was started anew")
            self._follow_check(now_ns)
        elif self.stage is Stage.WORN:
            self.session.resume(now_ns, blind_ns)

    # What silence changes

    def due_ns(self) -> int:
        """Return the next instant at which silence moves the check or a question on."""
        prompts = self.check.prompts
        return min(self.check.due_ns(), self.session.due_ns(), prompts.until_ns)

    def fall_due(self, now_ns: int) -> None:
        """Do what falls due at this instant."""
        self.check.fall_due(now_ns)
        self.session.fall_due(now_ns)
        self.check.prompts.fall_due(now_ns)
        self._follow_check(now_ns)

    def _move(self, now_ns: int, stage: Stage, why: str) -> None:
        before, self.stage = self.stage, stage
        self.evident_since_ns = NEVER_NS
        if before is not stage:
            self._journal.events.append(StageChanged(now_ns, before, stage, why))

    def _enter(self, now_ns: int) -> None:
        self.hands.close()
        self.apply_rules(now_ns)
        for alarm in self.alarms:
            alarm.enter(now_ns)

    # What readings say of the stage

    def look(self, now_ns: int) -> None:
        """Look at air and wearer after a window closed: baselines, arming, evident wear."""
        self._note_new_baseline()
        if self.stage is Stage.PRE_USE:
            self.check.look(now_ns)
            self._note_new_baseline()
            self._follow_check(now_ns)
        # A check that runs has its own end; until then a pulse proves nothing.
        if self.stage is Stage.IDLE or self.check.state is CheckState.READY:
            self._look_for_wear(now_ns)

    def _note_new_baseline(self) -> None:
        if self.air is not None and self.air.baseline_is_new:
            self.air.baseline_is_new = False
            self.note_baselines()

    def _look_for_wear(self, now_ns: int) -> None:
        air, pulse = self.air, self.pulse
        if air is None or air.second == self.looked_second:
            return  # judged once for each second of air, whatever else is looked at meanwhile
        self.looked_second = air.second
        # After a deliberate end the fan may run on: only a line that was off starts anew.
        may_start = (air.is_armed or air.may_arm) and air.run_s > 0
        if not may_start or self.hook:
            self.evident_since_ns = NEVER_NS
            self.not_checked = False
            return
        self.not_checked = self.stage is Stage.IDLE and air.run_s >= NOT_CHECKED_AFTER_S
        if pulse is None or now_ns - pulse.last_good_ns > PULSE_VALID_NS:
            self.evident_since_ns = NEVER_NS
        elif self.evident_since_ns == NEVER_NS:
            self.evident_since_ns = now_ns
        elif now_ns - self.evident_since_ns >= EVIDENT_S * SECOND_NS:
            self.wear(now_ns, "evidently worn")

    def note_baselines(self) -> None:
        """Tell every condition that baselines changed."""
        for leaf, _ in self.wiring.leaves:
            leaf.baseline_set()
        for channel in self.wiring.channels.values():
            channel.requiet()
