"""The runtime's part in a proof test: sees the cause and the sound, and keeps the times.

What a time means is judged in `core/proof.py`. The station watches on meanwhile: a step
changes nothing of its rules, and what it asks of the core are the commands that people
have, recorded as theirs are.
"""

from collections.abc import Callable, Sequence
from typing import NamedTuple, Protocol

from linetender.core.events import Event, Sound
from linetender.core.inputs import By, Input, Verb
from linetender.core.instants import from_seconds, to_seconds
from linetender.core.proof import (
    ASKED,
    UNHEARD_S,
    Cause,
    Judged,
    ProofClock,
    ProofKind,
    ProofResult,
    ProofStep,
    allowed_s,
    judge_asked,
    judge_sound,
    judge_walk,
    misplaced,
)
from linetender.core.signals import Signal
from linetender.core.snapshot import Snapshot
from linetender.core.stages import Stage
from linetender.memory.proofs import ProofRecord
from linetender.runtime.clock import StationClock, WallClock
from linetender.runtime.control_messages import Arguments
from linetender.runtime.pre_use_work import Recording
from linetender.runtime.proof_messages import Deed, ProofState, ProofView
from linetender.runtime.proof_senses import ProofSenses, Sounding
from linetender.runtime.time_to_leave import time_to_leave
from linetender.settings.compile_proof import proof_steps_of
from linetender.settings.proof_dates import ProofDates, ProofSeen, proof_dates
from linetender.settings.station import Station

GIVEN_UP_S = 600.0
"""A step in which nothing happens for so long is given up (s, chosen: a walk to the fan,
and some trouble with its plug)."""

RESTORED_S = 180.0
"""Alarms are answered for so long while the line is being put back (s, chosen)."""

GOOD_PERCENT = (90.0, 110.0)
"""Air (% of the session's normal) from which a step may begin."""

RECORDS_SHOWN = 60

WORN = (
    "the station takes the hood as worn, and a proof test has nobody in the hood: take the "
    "oximeter off too, end the use (linetender end --wearer), then begin again"
)

PROOF = "proof test"
"""Who asks the core for what a step needs."""


class Keeper(Protocol):
    """Where results are kept."""

    @property
    def proofs(self) -> list[ProofRecord]:
        """Results so far, oldest first."""

    def proof(self, record: ProofRecord) -> None:
        """Keep another."""


class Run:
    """What a keeper is where nothing outlives the run."""

    def __init__(self) -> None:
        self.proofs: list[ProofRecord] = []

    def proof(self, record: ProofRecord) -> None:
        """Keep a result as long as the daemon runs."""
        self.proofs.append(record)


class Place(NamedTuple):
    """Where a proof test happens.

    Attributes:
        station: The station.
        clock: Watch time.
        wall: The time of day.
        recorder: Of the session, or None.
        keeper: Of results; None: they do not outlive the run.
        outputs: Of the station; they may still be being opened.
        ask: Hands a wish to the core, says why not.
        mark: Marks in the recording that a step goes on, or is over.
    """

    station: Station
    clock: StationClock
    wall: WallClock
    recorder: Recording | None
    keeper: Keeper | None
    outputs: Sequence[Sounding]
    ask: Callable[..., str | None]
    mark: Callable[[str, bool], None]


class ProofWork:
    """The proof test of one station; call `look` about once a second.

    Args:
        place: Where it happens.
    """

    def __init__(self, place: Place) -> None:
        self._place = place
        self._keeper: Keeper = place.keeper or Run()
        station = place.station
        steps = proof_steps_of(station.plan, station.budgets, station.devices)
        self._steps = {step.kind.value: step for step in steps}
        self._senses = ProofSenses(None, ())
        self._step: ProofStep | None = None
        self._state = ProofState.NONE
        self._why = ""
        self._outcome: ProofRecord | None = None
        self._who = ""
        self._since_ns = 0
        self._is_own_stage = False
        self._marked = ""

    # What the station sees

    def see(self, block: Sequence[Input]) -> None:
        """Take what the core is about to take."""
        if self._state is not ProofState.NONE:
            self._senses.see(block)
            if self._state is ProofState.ARMED and self._senses.seen:
                self._turn(ProofState.CAUSED)

    def tell(self, events: tuple[Event, ...]) -> None:
        """Take what the core said."""
        self._senses.tell(events)

    def look(self, snapshot: Snapshot) -> None:
        """Go on with the step of now."""
        if self._state is ProofState.NONE:
            return
        stage_is_odd = snapshot.stage is Stage.WORN and not self._is_own_stage
        if stage_is_odd and self._state is not ProofState.RESTORING:
            self._end(WORN)
        elif self._state is ProofState.WAITING:
            self._wait(snapshot)
        elif self._state in (ProofState.ARMED, ProofState.CAUSED):
            self._listen()
        elif self._state is ProofState.DONE and self._for_s() > GIVEN_UP_S:
            self._turn(ProofState.RESTORING)
        elif self._state is ProofState.RESTORING:
            self._restore(snapshot)

    # What people do

    def act(self, args: Arguments, who: str, stage: Stage) -> str | None:
        """Do what somebody at the line does; say why not, or None.

        Args:
            args: What, and in which step.
            who: Who asks.
            stage: The stage of now.
        """
        deed, known = args.deed, self._steps.get(args.step)
        if deed is Deed.LOOK:
            return None
        self._who = who
        if deed in (Deed.BEGIN, Deed.TOLD, Deed.SKIP):
            if known is None:
                return f"there is no step {args.step!r}; this station has {', '.join(self._steps)}"
            return self._act_in(known, args, stage)
        if deed is Deed.FINISH:
            if self._state is not ProofState.NONE:
                self._turn(ProofState.RESTORING)
            return None
        if self._state not in (ProofState.ARMED, ProofState.CAUSED):
            return "no step waits for its cause"
        if deed is Deed.MARK:
            self._senses.mark(ProofClock.ENTER, self._place.clock.now_ns())
            self._turn(ProofState.CAUSED)
        else:
            self._conclude(None, Judged(ProofResult.FAILED, "nothing sounded"), None)
        return None

    def _act_in(self, step: ProofStep, args: Arguments, stage: Stage) -> str | None:
        if args.deed is Deed.BEGIN:
            return self._begin(step, stage)
        if args.deed is Deed.TOLD:
            return self._be_told(step, args.seconds, args.reason)
        if not args.reason.strip():
            return "a step is skipped for a reason"
        self._keep(step, Judged(ProofResult.SKIPPED, args.reason))
        return None

    def dates(self) -> ProofDates:
        """Return until when the proof test is good."""
        seen = [
            ProofSeen(one.ended_at, one.step, one.result, one.seconds)
            for one in self._keeper.proofs
        ]
        return proof_dates(self._steps.values(), seen, self._place.station.proof_every_days)

    def view(self) -> ProofView:
        """Return how it stands."""
        place, kept = self._place, self._keeper.proofs
        station = place.station
        return ProofView(
            station=station.plan.station,
            steps=tuple(self._steps.values()),
            state=self._state,
            step="" if self._step is None else self._step.kind.value,
            why=self._why,
            outcome=self._outcome,
            kept=tuple(kept[-RECORDS_SHOWN:]),
            dates=self.dates(),
            time=time_to_leave(station),
            exit_time_s=station.plan.exit_time_s,
            is_kept=place.keeper is not None,
        )

    def _begin(self, step: ProofStep, stage: Stage) -> str | None:
        if stage is Stage.WORN or self._is_own_stage:
            return WORN
        if stage is Stage.SERVICE:
            return "the stage is service, and nothing is watched: end that first"
        if step.kind is ProofKind.WALK:
            return None
        self._step, self._outcome, self._why = step, None, ""
        self._senses = ProofSenses(self._place.station.plan.air, self._place.outputs)
        if step.kind not in ASKED:
            self._turn(ProofState.WAITING)
            return None
        if stage is Stage.IDLE:
            refusal = self._place.ask(Verb.PRE_USE, By.ATTENDANT, source=PROOF)
            if refusal is not None:
                return refusal
            self._is_own_stage = True
        self._keep(step, Judged(ProofResult.PENDING))
        self._turn(ProofState.DONE)
        return None

    def _be_told(self, step: ProofStep, seconds: float | None, reason: str) -> str | None:
        if step.kind is ProofKind.WALK:
            if seconds is None:
                return "how many seconds did the walk take?"
            judged = judge_walk(seconds, time_to_leave(self._place.station))
            self._keep(step, judged, seconds, clock=ProofClock.WATCH)
        elif step.kind in ASKED:
            judged = judge_asked(step, seconds)
            why = "; ".join(part for part in (judged.why, reason) if part)
            self._keep(step, Judged(judged.result, why), seconds, clock=ProofClock.WATCH)
        else:
            return "this step is timed by the station itself"
        return None

    # A step

    def _wait(self, snapshot: Snapshot) -> None:
        step = self._step
        if step is None:
            return
        self._why = self._not_ready(snapshot, step)
        if not self._why and step.stage is Stage.WORN and snapshot.stage is not Stage.WORN:
            self._why = self._place.ask(Verb.START, By.ATTENDANT, source=PROOF) or "one moment"
            self._is_own_stage = self._why == "one moment"
        elif not self._why:
            self._senses.arm(self._place.clock.now_ns())
            self._turn(ProofState.ARMED)
        elif self._for_s() > GIVEN_UP_S:
            self._give_up(f"given up: {self._why}")

    def _not_ready(self, snapshot: Snapshot, step: ProofStep) -> str:
        if snapshot.demand.sound is not Sound.SILENT:
            return "an alarm or a question sounds: answer it first"
        if self._place.station.plan.air is None:
            return ""
        if step.stage is not Stage.WORN and not snapshot.air_armed:
            return (
                "the air must be good for a minute; if it runs for long, switch the fan off and on"
            )
        percent = next(
            (v.value for v in snapshot.signals if v.signal is Signal.AIR_PERCENT_OF_BASELINE), None
        )
        if percent is None:
            return "there is no reading of the air"
        if not GOOD_PERCENT[0] <= percent <= GOOD_PERCENT[1]:
            return f"the air is at {percent:.0f} % of its normal: put the line back as it belongs"
        settled_pa = self._senses.settled_pa(self._place.clock.now_ns())
        return "the pressure settles" if settled_pa is None else ""

    def _listen(self) -> None:
        """See whether it has sounded, and whether it still may."""
        step = self._step
        if step is None:
            return
        senses = self._senses
        if senses.leave is not None and (sound_ns := senses.sounded_ns()) is not None:
            self._judge(step, sound_ns, senses.leave[1])
        elif (cause := senses.cause()) is not None:
            waits_s = allowed_s(step, cause.clock) + UNHEARD_S
            if self._place.clock.now_ns() - cause.at_ns > from_seconds(waits_s):
                why = f"nothing sounded within {waits_s:.0f} s of the cause"
                self._conclude(cause, Judged(ProofResult.FAILED, why), None)
        elif self._for_s() > GIVEN_UP_S:
            self._give_up("given up: nothing happened")

    def _judge(self, step: ProofStep, sound_ns: int, rule: str) -> None:
        cause = self._senses.cause(sound_ns)
        if cause is None:
            # It sounded for something else, or before anything could be seen.
            why = f"{rule} sounded, and no cause was seen: do this step again"
            self._conclude(None, Judged(ProofResult.FAILED, why), rule)
            return
        judged = judge_sound(step, cause, sound_ns, rule)
        why = "; ".join(
            part
            for part in (judged.why, misplaced(cause, self._senses.changed_ns(sound_ns)))
            if part
        )
        seconds = to_seconds(sound_ns - cause.at_ns)
        self._conclude(cause, Judged(judged.result, why), rule, seconds)

    def _conclude(
        self, cause: Cause | None, judged: Judged, rule: str | None, seconds: float | None = None
    ) -> None:
        if self._step is not None:
            clock = None if cause is None else cause.clock
            self._keep(self._step, judged, seconds, clock=clock, rule=rule or "")
            self._turn(ProofState.DONE)

    def _restore(self, snapshot: Snapshot) -> None:
        """Answer alarms until the air is back; leave a stage that only the step needed."""
        ask = self._place.ask
        if self._is_own_stage:
            if snapshot.stage is not Stage.IDLE:
                ask(Verb.END, By.WEARER, source=PROOF)
            self._end(self._why)
            return
        ask(Verb.ACKNOWLEDGE, By.WEARER, shown=snapshot.n, source=PROOF)
        ask(Verb.RESET, By.WEARER, source=PROOF)
        if not snapshot.alarms or self._for_s() > RESTORED_S:
            self._end(self._why)

    # Small

    def _keep(
        self,
        step: ProofStep,
        judged: Judged,
        seconds: float | None = None,
        *,
        clock: ProofClock | None = None,
        rule: str = "",
    ) -> None:
        wall, recorder = self._place.wall(), self._place.recorder
        self._outcome = ProofRecord(
            ended_at=wall.at,
            synchronised=wall.synchronised,
            who=self._who,
            recording="" if recorder is None else recorder.path.name,
            step=step.kind.value,
            result=judged.result.value,
            why=judged.why,
            clock="" if clock is None else clock.value,
            seconds=None if seconds is None else round(seconds, 3),
            limit_s=None if clock is None or step.limit_s is None else allowed_s(step, clock),
            rule=rule,
        )
        self._keeper.proof(self._outcome)

    def _for_s(self) -> float:
        return to_seconds(self._place.clock.now_ns() - self._since_ns)

    def _turn(self, state: ProofState) -> None:
        self._state, self._since_ns = state, self._place.clock.now_ns()
        goes_on = "" if self._step is None or state is ProofState.NONE else self._step.kind.value
        before, self._marked = self._marked, goes_on
        if before != goes_on:
            for step, is_on in ((before, False), (goes_on, True)):
                if step:
                    self._place.mark(step, is_on)

    def _give_up(self, why: str) -> None:
        """End a step without a result; a stage that only it needed is left."""
        self._why = why
        self._turn(ProofState.RESTORING)

    def _end(self, why: str) -> None:
        self._turn(ProofState.NONE)
        self._why = why
        self._is_own_stage = False
