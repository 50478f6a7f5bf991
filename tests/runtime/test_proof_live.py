"""The proof test on the demo station: the cause is seen, the sound is the pin's own, all kept."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from msgspec import structs

from linetender.core.events import StageChanged
from linetender.core.fact_names import FactName
from linetender.core.inputs import Fact
from linetender.core.instants import SECOND_NS, to_seconds
from linetender.core.plan import FarEndPlan
from linetender.core.proof import ProofKind
from linetender.core.stages import Stage
from linetender.far_end.remote_watch import LEAVE_AFTER_NS
from linetender.memory.proofs import proofs_in
from linetender.memory.store import open_store
from linetender.recording.reader import Block, RecordingReader
from linetender.recording.replay import replay_file
from linetender.runtime.control_messages import Arguments
from linetender.runtime.proof_messages import Deed, ProofView
from linetender.runtime.session_index import SessionIndex
from linetender.settings.compile_proof import BEARS_SILENCE_S, proof_steps_of
from linetender.settings.station import Station
from linetender.simulation.knobs import Knob
from runtime import demo_sessions
from runtime.demo_sessions import Hand, demo_station, play

FAN, PINCHED, WALK = ProofKind.FAN_PLUG, ProofKind.DUCT_PINCHED, ProofKind.WALK
BOX = ProofKind.BOX_PLUG


class Prover:
    """Somebody at the line; keeps what the station said to each deed."""

    def __init__(self) -> None:
        self.refusals: list[str | None] = []
        self.views: list[ProofView] = []

    def does(
        self,
        deed: Deed,
        step: str = "",
        *,
        seconds: float | None = None,
        reason: str = "",
    ) -> Callable[[Hand], None]:
        return partial(
            self._do, args=Arguments(step=step, deed=deed, seconds=seconds, reason=reason)
        )

    def _do(self, hand: Hand, args: Arguments) -> None:
        refusal, view = hand.live.prove(args, "socket, uid 1")
        self.refusals.append(refusal)
        self.views.append(view)

    @property
    def states(self) -> list[str]:
        return [view.state.value for view in self.views]


def crush(hand: Hand) -> None:
    hand.rig.world.turn(hand.now_ns, Knob.CRUSH, 0.95)


def mend(hand: Hand) -> None:
    hand.rig.world.turn(hand.now_ns, Knob.CRUSH, 0.0)
    hand.fan_start()


def at_rest(hand: Hand) -> None:
    """Nobody wears anything; the fan runs."""
    hand.rig.world.turn(hand.now_ns, Knob.FINGER_OUT, 1.0)
    hand.rig.keep_up()
    hand.fan_start()


AT_REST = (0.0, at_rest)


def pull_fan_plug(hand: Hand) -> None:
    hand.rig.world.turn(hand.now_ns, Knob.FAN, 0.0)


def outcome(view: ProofView) -> tuple[str, str, str, str]:
    done = view.outcome
    assert done is not None
    return done.step, done.result, done.clock, done.rule


def marks_in(recording: Path) -> list[tuple[int, str, bool]]:
    """Return second and step of each mark of a proof test, and whether the step went on."""
    facts = (
        item
        for block in RecordingReader(recording).parts()
        if isinstance(block, Block)
        for item in block.inputs
        if isinstance(item, Fact) and item.fact == FactName.PROOF_STEP
    )
    return [(round(to_seconds(one.arrived_ns)), one.subject, one.active) for one in facts]


def test_a_plug_and_a_pinch_are_timed_by_the_pin_and_kept(tmp_path: Path) -> None:
    me, index = Prover(), SessionIndex(tmp_path)
    deeds = (
        AT_REST,
        (70.0, me.does(Deed.BEGIN, FAN)),
        (80.0, me.does(Deed.LOOK)),
        (81.0, pull_fan_plug),
        (90.0, me.does(Deed.LOOK)),
        (91.0, me.does(Deed.FINISH)),
        (92.0, mend),
        (110.0, me.does(Deed.BEGIN, PINCHED)),
        (120.0, me.does(Deed.LOOK)),
        (121.0, me.does(Deed.MARK)),
        (121.5, crush),
        (130.0, me.does(Deed.FINISH)),
        (131.0, mend),
        (150.0, me.does(Deed.LOOK)),
    )
    played = play(deeds, 152.0, proofs=index)
    index.close()
    assert me.refusals == [None] * 9
    fan, pinch = ["waiting", "armed", "done"], ["waiting", "armed", "caused"]
    assert me.states == [*fan, "restoring", *pinch, "restoring", "none"]
    with open_store(tmp_path) as store:
        kept = proofs_in(store)
    assert list(me.views[-1].kept) == kept
    assert [(one.step, one.result, one.clock, one.rule) for one in kept] == [
        (FAN, "passed", "pressure", "air_lost"),
        (PINCHED, "passed", "enter", "air_lost"),
    ]
    fan_s, pinch_s = (one.seconds or 0.0 for one in kept)
    # A fan that coasts is seen at 90 % of its air, a little after its plug was pulled.
    true_s = (played.sounded_s(81.0) or 0.0) - 81.0
    assert true_s - 0.5 < fan_s < true_s
    assert pinch_s == pytest.approx((played.sounded_s(121.0) or 0.0) - 121.0, abs=0.001)
    # Every alarm was answered and reset, and none of the watch over idle air was lost.
    last = played.snapshots[-1]
    assert (last.alarms, last.air_armed, last.stage) == ((), True, Stage.IDLE)


def test_the_recording_marks_when_a_step_went_on(tmp_path: Path) -> None:
    me, recording = Prover(), tmp_path / "session.jsonl"
    deeds = (
        AT_REST,
        (70.0, me.does(Deed.BEGIN, FAN)),
        (81.0, pull_fan_plug),
        (91.0, me.does(Deed.FINISH)),
        (92.0, mend),
        (110.0, me.does(Deed.BEGIN, PINCHED)),
        (115.0, me.does(Deed.BEGIN, FAN)),
    )
    play(deeds, 120.0, record=recording)
    assert marks_in(recording) == [
        (70, FAN, True),
        (101, FAN, False),
        (110, PINCHED, True),
        (115, PINCHED, False),
        (115, FAN, True),
    ]
    assert replay_file(recording).differing == 0


def test_the_button_tells_the_cause_and_what_stays_silent_has_failed() -> None:
    me = Prover()
    deeds = (
        AT_REST,
        (70.0, me.does(Deed.BEGIN, PINCHED)),
        (80.0, lambda hand: hand.rig.press("answer")),
        (80.3, lambda hand: hand.rig.release("answer")),
        (82.0, me.does(Deed.LOOK)),
        (115.0, me.does(Deed.LOOK)),
        (116.0, me.does(Deed.FINISH)),
        (120.0, me.does(Deed.BEGIN, FAN)),
        (128.0, me.does(Deed.SILENT)),
    )
    play(deeds, 130.0)
    assert me.states == ["waiting", "caused", "done", "restoring", "waiting", "done"]
    assert outcome(me.views[2]) == (PINCHED, "failed", "button", "")
    assert me.views[2].outcome is not None
    assert me.views[2].outcome.why == "nothing sounded within 33 s of the cause"
    assert outcome(me.views[-1]) == (FAN, "failed", "", "")
    assert me.views[-1].dates.failed == (FAN, PINCHED)
    assert not me.views[-1].is_kept


def test_a_mark_that_was_not_the_cause_is_told() -> None:
    me = Prover()
    deeds = (
        AT_REST,
        (70.0, me.does(Deed.BEGIN, PINCHED)),
        (80.0, me.does(Deed.MARK)),
        (90.0, crush),
        (100.0, me.does(Deed.LOOK)),
    )
    play(deeds, 101.0)
    done = me.views[-1].outcome
    assert done is not None
    assert done.result == "failed"
    assert "the pressure changed only 10.0 s after your mark" in done.why


@pytest.mark.parametrize(
    ("deed", "refusal"),
    [
        (Prover().does(Deed.BEGIN, "moon"), "there is no step 'moon'; this station has fan_plug,"),
        (Prover().does(Deed.SKIP, FAN), "a step is skipped for a reason"),
        (Prover().does(Deed.MARK), "no step waits for its cause"),
        (Prover().does(Deed.TOLD, WALK), "how many seconds did the walk take?"),
        (Prover().does(Deed.TOLD, FAN, seconds=3.0), "this step is timed by the station itself"),
    ],
)
def test_what_cannot_be_done_is_refused(deed: Callable[[Hand], None], refusal: str) -> None:
    play((AT_REST, (1.0, deed)), 2.0)
    said = deed.func.__self__.refusals[0]  # type: ignore[attr-defined]
    assert said is not None
    assert said.startswith(refusal)


def test_nobody_proves_a_line_that_is_worn() -> None:
    me = Prover()
    deeds = (
        (0.0, Hand.fan_start),
        (10.0, Hand.start),
        (20.0, me.does(Deed.BEGIN, FAN)),
    )
    play(deeds, 22.0)
    assert me.refusals[0] is not None
    assert "a proof test has nobody in the hood" in me.refusals[0]


def test_a_step_waits_for_the_air_and_is_left_when_the_hood_is_put_on() -> None:
    me = Prover()
    deeds = (
        AT_REST,
        (10.0, me.does(Deed.BEGIN, FAN)),
        (20.0, me.does(Deed.LOOK)),
        (70.0, me.does(Deed.LOOK)),
        (80.0, Hand.start),
        (85.0, me.does(Deed.LOOK)),
    )
    play(deeds, 86.0)
    assert me.states == ["waiting", "waiting", "armed", "none"]
    assert "the air must be good for a minute" in me.views[1].why
    assert "the station takes the hood as worn" in me.views[-1].why


def test_walks_and_skips_are_kept() -> None:
    me = Prover()
    deeds = (
        (1.0, me.does(Deed.TOLD, WALK, seconds=6.0)),
        (2.0, me.does(Deed.TOLD, WALK, seconds=60.0)),
        (3.0, me.does(Deed.SKIP, PINCHED, reason="steel duct")),
    )
    play(deeds, 4.0)
    assert [(one.step, one.result) for one in me.views[-1].kept] == [
        (WALK, "passed"),
        (WALK, "failed"),
        (PINCHED, "skipped"),
    ]


def test_steps_of_the_demo_station() -> None:
    station = demo_station()
    made = proof_steps_of(station.plan, station.budgets, station.devices)
    steps = {step.kind: (step.rule, step.stage) for step in made}
    assert list(steps) == [FAN, PINCHED, "duct_off_at_fan", "duct_off_at_hood", WALK]
    assert steps[FAN] == ("air_lost", Stage.IDLE)


def test_a_second_box_bears_silence_for_as_long_as_it_does() -> None:
    assert {role.value: after / SECOND_NS for role, after in LEAVE_AFTER_NS.items()} == (
        BEARS_SILENCE_S
    )


def with_second_box() -> Station:
    station = demo_station()
    boxes = (FarEndPlan("house", "wearer"),)
    return replace(station, plan=structs.replace(station.plan, far_ends=boxes))


def test_a_box_that_loses_its_plug_is_asked_about(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(demo_sessions, "demo_station", with_second_box)
    me = Prover()
    deeds = (
        AT_REST,
        (70.0, me.does(Deed.BEGIN, BOX)),
        (75.0, me.does(Deed.TOLD, BOX, seconds=11.0)),
        (76.0, me.does(Deed.FINISH)),
        (78.0, me.does(Deed.TOLD, "everything")),
        (79.0, me.does(Deed.LOOK)),
    )
    played = play(deeds, 80.0)
    assert me.refusals == [None] * 5
    last = me.views[-1]
    assert [(one.step, one.result, one.seconds, one.limit_s) for one in last.kept] == [
        (BOX, "pending", None, None),
        (BOX, "passed", 11.0, 12.0),
        ("everything", "failed", None, 12.0),
    ]
    # In idle a box that is switched off alarms nobody: the step is one of a check.
    stages = [event.after for event in played.events if isinstance(event, StageChanged)]
    assert stages == [Stage.PRE_USE, Stage.IDLE]
