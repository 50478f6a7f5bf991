"""The pre-use check: its steps, how far each has come, and what ends it.

A check runs until every step is met (then it is *ready*, and the hood may be worn), or
until one stays unmet past its limit (then it is *refused*). What is measured here comes
from the channels, the air and the wearer's baselines; what only the runtime can see
comes as Facts, and so does the instant of the test sound.
"""

from enum import StrEnum

from linetender.core.air import PRE_USE_S, Air
from linetender.core.events import Cue, StepChanged, StepState
from linetender.core.fact_names import FactName
from linetender.core.inputs import ContactState, Fact
from linetender.core.instants import NEVER_NS, SECOND_NS
from linetender.core.journal import Journal
from linetender.core.means import MeanListener
from linetender.core.prompts import Prompts
from linetender.core.step_plan import STEP_CODES, StepKind, StepPlan
from linetender.core.wearer import BASELINE_MEANS, LOWEST_SPO2_PERCENT, WearerBaseline

WHOLE = "check"
"""The step under which the check as a whole is told."""

PURGE_S = 120
"""Good air blows through the line for so long before the hood goes on."""

TAP_WITHIN_NS = 5 * SECOND_NS
"""The test sound counts as heard when the tap comes within this."""

ZERO_PART = 0.05
ZERO_LEAST_PA = 1.0
"""With the fan off the sensor may read this part of the normal pressure, and this at least
(chosen: at an orifice 5 % of pressure is 22 % of flow, where the fan counts as off)."""

SLOW_S = 3
"""So many slow seconds mean that the fan was off, or just starting: only then can the
zero be judged (chosen)."""

CUE_NS = 3 * SECOND_NS
LAMPS_NS = 10 * SECOND_NS
CODE_NS = 30 * SECOND_NS
"""How long a short cue, the flashes of the lamps and the code of a failed step are put
(chosen: a code of 4-4 is told three times)."""

_BY_HAND = (StepKind.CHECKLIST, StepKind.LAMP, StepKind.ARMED)
"""Steps that wait for hands from the beginning on."""

_CUES = (Cue.LAMPS, Cue.HOOD, Cue.TEST, Cue.READY, Cue.CODE)


class CheckState(StrEnum):
    """How the pre-use check stands."""

    NONE = "none"
    RUNNING = "running"
    READY = "ready"
    PASSED = "passed"
    """The hood was put on after a check that was ready."""
    REFUSED = "refused"
    """A step failed, or the hood was put on before the check was done: not checked."""


class PreUse(MeanListener):
    """The check of one station.

    Attributes:
        state: How it stands.
        steps: State of each step by its id, in the order of the plan.
        whys: Why a step stands as it does, where there is something to say.
        overrides: Reasons by the id of the step that was overridden.
        began_ns: Begin of the check.
        hood_ns: When everything before the heard-test was met.
        heard_ns: When the test sound began; NEVER_NS while none sounds.
        asked_ns: Since when hands are asked for; NEVER_NS while they are not.
        hands_on_ns: For how long they were asked for before that, in this check.
        armed: Last known state of the ARM switch.
        supply_v: Last mean of the supply voltage (V), or None.
    """

    __slots__ = (
        "_air",
        "_baselines",
        "_journal",
        "_plans",
        "armed",
        "asked_ns",
        "began_ns",
        "hands_on_ns",
        "heard_ns",
        "hood_ns",
        "overrides",
        "prompts",
        "state",
        "steps",
        "supply_v",
        "whys",
    )

    INSTANTS = ("began_ns", "hood_ns", "heard_ns", "asked_ns")
    VALUES = ("state", "steps", "whys", "overrides", "armed", "supply_v", "hands_on_ns")

    def __init__(
        self,
        plans: tuple[StepPlan, ...],
        air: Air | None,
        wearer: tuple[WearerBaseline, ...],
        prompts: Prompts,
        journal: Journal,
    ) -> None:
        self._plans = {plan.id: plan for plan in plans}
        self._air = air
        self._baselines = {baseline.signal.value: baseline for baseline in wearer}
        self.prompts = prompts
        self._journal = journal
        self.state = CheckState.NONE
        self.steps: dict[str, str] = {}
        self.whys: dict[str, str] = {}
        self.overrides: dict[str, str] = {}
        self.armed = ""
        self.began_ns = self.hood_ns = self.heard_ns = self.asked_ns = NEVER_NS
        self.hands_on_ns = 0
        self.supply_v: float | None = None

    @property
    def plans(self) -> tuple[StepPlan, ...]:
        """Steps of this station."""
        return tuple(self._plans.values())

    @property
    def card_is_confirmed(self) -> bool:
        """Whether the wearer has said that the card's list is done."""
        return not any(self._waits(plan) for plan in self._of(StepKind.CHECKLIST))

    @property
    def awaits_sound(self) -> bool:
        """Whether the test sound may come at any instant now."""
        return self.hood_ns != NEVER_NS and self.heard_ns == NEVER_NS and self._hears()

    # What moves it

    def begin(self, now_ns: int) -> None:
        """Begin anew."""
        self.clear()
        self.state = CheckState.RUNNING
        self.began_ns = now_ns
        if self._air is not None:
            self._air.slow_s = 0
        for plan in self._plans.values():
            self._set(now_ns, plan.id, StepState.WAITING)
        if self._of(StepKind.LAMP):
            self.prompts.put(Cue.LAMPS, now_ns + LAMPS_NS)
        self._judge(now_ns)

    def clear(self) -> None:
        """Forget the last check."""
        self.state = CheckState.NONE
        self.steps, self.whys, self.overrides = {}, {}, {}
        self.began_ns = self.hood_ns = self.heard_ns = self.asked_ns = NEVER_NS
        self.hands_on_ns = 0
        self.prompts.take_back(*_CUES)

    def press(self, now_ns: int) -> None:
        """Take a tap while nothing sounds."""
        for plan in self._of(StepKind.CHECKLIST, StepKind.LAMP):
            if self._waits(plan):
                self._set(now_ns, plan.id, StepState.MET, "button")
        if self.heard_ns != NEVER_NS and now_ns < self.heard_ns + TAP_WITHIN_NS:
            self._end_sound()
            for plan in self._of(StepKind.HEARD):
                self._set(now_ns, plan.id, StepState.MET, "button")
        self._judge(now_ns)

    def override(self, now_ns: int, step: str, reason: str) -> None:
        """Go on without a step, for a reason that the record keeps."""
        self.overrides[step] = reason
        self._set(now_ns, step, StepState.SKIPPED, f"overridden: {reason}")
        self._judge(now_ns)

    def can_override(self, step: str) -> bool:
        """Say whether a step is not done yet."""
        return self.steps.get(step) == StepState.WAITING

    def see_fact(self, now_ns: int, fact: Fact) -> None:
        """Take what the runtime knows."""
        if self.state is not CheckState.RUNNING:
            return
        if fact.fact == FactName.HEARD_TEST:
            self._sound(now_ns)
        elif fact.fact == FactName.PRE_USE_STEP and fact.subject in self.steps:
            self._take_word(now_ns, fact)
        elif fact.fact == FactName.FAR_END_CONFIRMED:
            self._confirm(now_ns, StepKind.FAR_END, fact.subject)
        elif fact.fact == FactName.DELIVERY_CONFIRMED and fact.subject == "broker":
            self._confirm(now_ns, StepKind.BROKER, "")
        self._judge(now_ns)

    def see_armed(self, now_ns: int, state: ContactState) -> None:
        """Take the state of the ARM switch."""
        self.armed = state.value
        if self.state is CheckState.RUNNING:
            self._judge(now_ns)

    def wear(self, now_ns: int) -> bool:
        """The hood is on; say whether the check had been passed by then."""
        if self.state is CheckState.READY:
            self.state = CheckState.PASSED
        elif self.state is CheckState.RUNNING:
            self._refuse(now_ns, "the hood was put on before the check was done")
        self.prompts.take_back(*_CUES)
        return self.state is CheckState.PASSED

    def look(self, now_ns: int) -> None:
        """Look at what is measured, once a second or so."""
        if self.state is CheckState.RUNNING:
            self._judge(now_ns)

    def see_mean(self, now_ns: int, mean: float | None) -> bool:
        """Take a mean of the supply voltage (V); say whether a step waits for it."""
        self.supply_v = mean
        return mean is not None and any(self._waits(plan) for plan in self._of(StepKind.SUPPLY))

    def break_off(self, now_ns: int, why: str) -> None:
        """End the check: something else came between."""
        if self.state in (CheckState.RUNNING, CheckState.READY):
            self._refuse(now_ns, why)

    # Time

    def due_ns(self) -> int:
        """Return the next instant at which silence ends a step, or the test sound's time."""
        if self.state is not CheckState.RUNNING:
            return NEVER_NS
        due_ns = NEVER_NS if self.heard_ns == NEVER_NS else self.heard_ns + TAP_WITHIN_NS
        for plan in self._plans.values():
            if self._waits(plan):
                due_ns = min(due_ns, self.limit_ns(plan))
        return due_ns

    def limit_ns(self, plan: StepPlan) -> int:
        """Return the instant at which a step that is unmet ends the check, or NEVER_NS."""
        from_ns = self.hood_ns if plan.kind is StepKind.HEARD else self.began_ns
        return NEVER_NS if from_ns == NEVER_NS else from_ns + plan.limit_ns

    def fall_due(self, now_ns: int) -> None:
        """Do what falls due at this instant."""
        if self.state is not CheckState.RUNNING:
            return
        if self.heard_ns != NEVER_NS and now_ns >= self.heard_ns + TAP_WITHIN_NS:
            self._end_sound()
            self._count_hands(now_ns)
        for plan in self._plans.values():
            if self._waits(plan) and now_ns >= self.limit_ns(plan):
                self._fail(now_ns, plan, self.whys.get(plan.id, "") or "not done in time")
                return

    # How far a step has come

    def progress(self, plan: StepPlan) -> tuple[float, float]:
        """Return how much of a step is done, and how much is needed (s of good readings)."""
        if self.steps.get(plan.id) == StepState.MET:
            return 1.0, 1.0
        air = self._air
        if plan.kind is StepKind.AIR and air is not None:
            return float(min(air.run_s, PRE_USE_S)), float(PRE_USE_S)
        if plan.kind is StepKind.PURGE and air is not None:
            return float(min(air.run_s, PURGE_S)), float(PURGE_S)
        if plan.kind is StepKind.BASELINE and plan.subject in self._baselines:
            return float(len(self._baselines[plan.subject].means)), float(BASELINE_MEANS)
        return 0.0, 1.0

    def _judge(self, now_ns: int) -> None:
        """Set every step that is met, and see what follows."""
        if self.state is not CheckState.RUNNING:
            return
        for plan in self._plans.values():
            self._judge_step(now_ns, plan)
            if self.state is not CheckState.RUNNING:
                return
        self._count_hands(now_ns)
        open_plans = [plan for plan in self._plans.values() if self._waits(plan)]
        if not open_plans:
            self.state = CheckState.READY
            self.prompts.put(Cue.READY, now_ns + CUE_NS)
            hands = f"{self.hands_on_ns / SECOND_NS:.0f} s hands-on"
            self._note(now_ns, WHOLE, StepState.MET, hands)
        elif self.hood_ns == NEVER_NS and all(p.kind is StepKind.HEARD for p in open_plans):
            self.hood_ns = now_ns
            self.prompts.put(Cue.HOOD, now_ns + CUE_NS)
            for plan in open_plans:
                self._note(now_ns, plan.id, StepState.WAITING, "hood on; the test sound comes")

    def _judge_step(self, now_ns: int, plan: StepPlan) -> None:
        air = self._air
        if plan.kind is StepKind.BASELINE:
            self._judge_baseline(now_ns, plan)
        if not self._waits(plan):
            return
        if plan.kind is StepKind.AIR and air is not None:
            if air.take_pre_use_baseline(now_ns):
                self._set(now_ns, plan.id, StepState.MET)
        elif plan.kind is StepKind.PURGE and air is not None:
            if air.run_s >= PURGE_S:
                self._set(now_ns, plan.id, StepState.MET)
        elif plan.kind is StepKind.ZERO and air is not None:
            self._judge_zero(now_ns, plan, air)
        elif plan.kind is StepKind.SUPPLY:
            if self.supply_v is not None and self.supply_v >= plan.least:
                self._set(now_ns, plan.id, StepState.MET)
        elif plan.kind is StepKind.ARMED and self.armed == ContactState.CLOSED.value:
            self._set(now_ns, plan.id, StepState.MET)

    def _judge_baseline(self, now_ns: int, plan: StepPlan) -> None:
        baseline = self._baselines.get(plan.subject)
        if baseline is None:
            return
        if baseline.refused:
            self._fail(now_ns, plan, f"under {LOWEST_SPO2_PERCENT:.0f} %")
        elif baseline.value is not None and self._waits(plan):
            self._set(now_ns, plan.id, StepState.MET)

    def _judge_zero(self, now_ns: int, plan: StepPlan, air: Air) -> None:
        greatest_pa = max(ZERO_LEAST_PA, ZERO_PART * air.plan.normal_pa)
        if air.slow_s >= 1 and air.slow_least_pa <= greatest_pa:
            self._set(now_ns, plan.id, StepState.MET)
        elif air.run_s >= PRE_USE_S and air.slow_s < SLOW_S:
            self._set(now_ns, plan.id, StepState.SKIPPED, "the fan ran already")
        elif air.run_s >= PRE_USE_S:
            self._fail(now_ns, plan, f"{air.slow_least_pa:.1f} Pa with the fan off")

    # The test sound

    def _sound(self, now_ns: int) -> None:
        if self.awaits_sound:
            self.heard_ns = now_ns
            self.prompts.put(Cue.TEST, now_ns + TAP_WITHIN_NS)

    def _end_sound(self) -> None:
        self.heard_ns = NEVER_NS
        self.prompts.take_back(Cue.TEST)

    def _hears(self) -> bool:
        return any(self._waits(plan) for plan in self._of(StepKind.HEARD))

    # Hands

    def hands_on(self, now_ns: int) -> int:
        """Return for how long (ns) this check has asked for hands until now."""
        return self.hands_on_ns + max(0, now_ns - self.asked_ns)

    def _count_hands(self, now_ns: int) -> None:
        """Note whether hands are asked for: card, lamps, ARM switch, or the test sound's tap."""
        asked = self.heard_ns != NEVER_NS or any(self._waits(plan) for plan in self._of(*_BY_HAND))
        if not (asked and self.state is CheckState.RUNNING):
            self.hands_on_ns = self.hands_on(now_ns)
            self.asked_ns = NEVER_NS
        elif self.asked_ns == NEVER_NS:
            self.asked_ns = now_ns

    def _take_word(self, now_ns: int, fact: Fact) -> None:
        """The runtime says that a step is met, or why it is not."""
        if not self._waits(self._plans[fact.subject]):
            return
        if fact.active:
            self.whys.pop(fact.subject, None)
            self._set(now_ns, fact.subject, StepState.MET, fact.detail)
        else:
            self.whys[fact.subject] = fact.detail

    def _confirm(self, now_ns: int, kind: StepKind, subject: str) -> None:
        for plan in self._of(kind):
            if plan.subject == subject and self._waits(plan):
                self._set(now_ns, plan.id, StepState.MET)

    def _of(self, *kinds: StepKind) -> list[StepPlan]:
        return [plan for plan in self._plans.values() if plan.kind in kinds]

    def _waits(self, plan: StepPlan) -> bool:
        return self.steps.get(plan.id) == StepState.WAITING

    def _fail(self, now_ns: int, plan: StepPlan, why: str) -> None:
        self._set(now_ns, plan.id, StepState.FAILED, why)
        self._refuse(now_ns, f"{plan.id}: {why}")
        self.prompts.put(Cue.CODE, now_ns + CODE_NS, STEP_CODES[plan.kind])

    def _refuse(self, now_ns: int, why: str) -> None:
        self.state = CheckState.REFUSED
        self.heard_ns = NEVER_NS
        self._count_hands(now_ns)
        self._note(now_ns, WHOLE, StepState.FAILED, why)

    def _set(self, now_ns: int, step: str, state: StepState, why: str = "") -> None:
        if why:
            self.whys[step] = why
        if self.steps.get(step) != state.value:
            self.steps[step] = state.value
            self._note(now_ns, step, state, why)

    def _note(self, now_ns: int, step: str, state: StepState, why: str) -> None:
        self._journal.events.append(StepChanged(now_ns, step, state, why))
