"""The stages of use, and the people who move them: button, hook, commands, evident wear."""

from linetender.core.air import Air
from linetender.core.alarm import Alarm
from linetender.core.alarm_table import AlarmState
from linetender.core.channel import Channel
from linetender.core.check_in import CheckIn
from linetender.core.events import Sound, StageChanged, StepChanged, StepState
from linetender.core.hands import PRESS_SEES_AFTER_NS, Hands, Meaning
from linetender.core.inputs import By, ContactState
from linetender.core.instants import NEVER_NS, SECOND_NS
from linetender.core.journal import Journal
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
        steps: Steps of the pre-use check, where one runs.
        hook: Last known state of the hood hook.
        pressed: Whether the answer button is down.
        evident_since_ns: Since when the hood has evidently been worn.
        not_checked: Whether the line has run for long with nobody starting.
    """

    __slots__ = (
        "_journal",
        "air",
        "alarms",
        "check_in",
        "evident_since_ns",
        "hands",
        "hook",
        "not_checked",
        "pressed",
        "pulse",
        "stage",
        "steps",
        "telling",
        "wearer",
        "wiring",
    )

    INSTANTS = ("evident_since_ns",)
    VALUES = ("stage", "steps", "hook", "pressed", "not_checked")

    def __init__(
        self,
        wiring: Wiring,
        air: Air | None,
        wearer: tuple[WearerBaseline, ...],
        telling: Telling,
        hands: Hands,
        check_in: CheckIn,
        pulse: Channel | None,
        journal: Journal,
    ) -> None:
        self.stage = Stage.IDLE
        self.steps: dict[str, str] = {}
        self.hook = ""
        self.pressed = False
        self.evident_since_ns = NEVER_NS
        self.not_checked = False
        self.wiring = wiring
        self.alarms: list[Alarm] = wiring.alarms
        self.air = air
        self.wearer = wearer
        self.telling = telling
        self.hands = hands
        self.check_in = check_in
        self.pulse = pulse
        self._journal = journal

    # Which rules work now

    def watches_air(self) -> bool:
        """Say whether loss of air is watched now."""
        if self.stage is Stage.WORN:
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
            if self.pressed and not was_pressed:
                self.press(now_ns)
        elif contact == "hook" and state is not ContactState.BROKEN and state.value != self.hook:
            was_known, self.hook = self.hook != "", state.value
            if state is ContactState.OPEN and self.stage is not Stage.WORN:
                self.wear(now_ns, "hood off its hook")
            elif state is ContactState.CLOSED and was_known and self.stage is Stage.WORN:
                self.finish(now_ns, "hood on its hook")

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
        fitted = ["checklist"]
        if self.air is not None:
            fitted.append("air")
        fitted += [baseline.signal.value for baseline in self.wearer]
        self.steps = {}
        for step in fitted:
            self._set_step(now_ns, step, StepState.WAITING, "")
        for baseline in self.wearer:
            baseline.gather("pre_use")
        self._enter(now_ns)

    def wear(self, now_ns: int, why: str) -> None:
        """The hood is on: everything is watched from this instant."""
        checked = bool(self.steps) and self._all_met()
        self._move(now_ns, Stage.WORN, why)
        self.steps = {}
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
        self._move(now_ns, Stage.IDLE, f"{why}, out" if is_out else why)
        self.steps = {}
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
        if self.stage is Stage.IDLE:
            self.begin_pre_use(now_ns, "button")
        elif self.stage is Stage.PRE_USE:
            if self.steps.get("checklist") == StepState.WAITING:
                self._set_step(now_ns, "checklist", StepState.MET, "button")
            elif self._all_met():
                self.wear(now_ns, "button")

    def _all_met(self) -> bool:
        return all(state == StepState.MET for state in self.steps.values())

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

    def _set_step(self, now_ns: int, step: str, state: StepState, why: str) -> None:
        if self.steps.get(step) != state.value:
            self.steps[step] = state.value
            self._journal.events.append(StepChanged(now_ns, step, state, why))

    # What readings say of the stage

    def look(self, now_ns: int) -> None:
        """Look at air and wearer after a window closed: baselines, arming, evident wear."""
        if self.air is not None and self.air.baseline_is_new:
            self.air.baseline_is_new = False
            self.note_baselines()
        if self.stage is Stage.PRE_USE:
            self._measure_steps(now_ns)
        if self.stage in (Stage.IDLE, Stage.PRE_USE):
            self._look_for_wear(now_ns)

    def _measure_steps(self, now_ns: int) -> None:
        waiting = self.steps.get("air") == StepState.WAITING
        if waiting and self.air is not None and self.air.take_pre_use_baseline(now_ns):
            self._set_step(now_ns, "air", StepState.MET, "")
            self.note_baselines()
        for baseline in self.wearer:
            if baseline.value is not None:
                self._set_step(now_ns, baseline.signal.value, StepState.MET, "")
            elif baseline.refused:
                self._set_step(now_ns, baseline.signal.value, StepState.FAILED, "too low")

    def _look_for_wear(self, now_ns: int) -> None:
        air, pulse = self.air, self.pulse
        # After a deliberate end the fan may run on: only a line that was off starts anew.
        may_start = air is not None and (air.is_armed or air.may_arm) and air.run_s > 0
        if air is None or not may_start or self.hook:
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
