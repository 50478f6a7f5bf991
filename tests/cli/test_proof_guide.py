"""What the verb `proof` asks and says, and the lines that are typed into it."""

import os
from collections.abc import Iterator
from datetime import datetime

import pytest

from linetender.cli.proof_guide import NotDone, ProofGuide, Stopped, seconds_of
from linetender.cli.proof_words import budget_lines, due_line, list_lines, outcome_line
from linetender.cli.typed_lines import TypedLines
from linetender.core.proof import ProofKind, ProofStep, TimeToLeave
from linetender.memory.proofs import ProofRecord
from linetender.runtime.control_messages import Arguments
from linetender.runtime.proof_messages import Deed, ProofState, ProofView
from linetender.settings.proof_dates import ProofDates

AT = "2026-03-01T10:00:00+00:00"
PINCH = ProofStep(ProofKind.DUCT_PINCHED, "air_lost", 2.2)
WALK = ProofStep(ProofKind.WALK)
BOX = ProofStep(ProofKind.BOX_PLUG, limit_s=10.0)


def record(step: ProofStep, result: str, seconds: float | None = None) -> ProofRecord:
    clock = "" if seconds is None else "enter"
    return ProofRecord(
        ended_at=AT,
        synchronised=True,
        step=step.kind.value,
        result=result,
        clock=clock,
        seconds=seconds,
        limit_s=3.2 if step is PINCH else None,
        rule="air_lost" if step is PINCH else "",
    )


def view(
    state: ProofState = ProofState.NONE,
    outcome: ProofRecord | None = None,
    kept: tuple[ProofRecord, ...] = (),
) -> ProofView:
    return ProofView(
        "shed",
        (PINCH, WALK, BOX),
        state,
        "" if outcome is None else outcome.step,
        "",
        outcome,
        kept,
        ProofDates(),
        TimeToLeave(8.7, 16.6, False),
        7.0,
        True,
    )


class Station:
    """Answers deeds as told, and remembers them."""

    def __init__(self, *views: ProofView) -> None:
        self.deeds: list[tuple[Deed, str, float | None, str]] = []
        self._views = iter(views)

    def ask(self, args: Arguments) -> ProofView:
        self.deeds.append((args.deed, args.step, args.seconds, args.reason))
        return next(self._views)


class Typist:
    """Types these lines, one each time somebody waits for long."""

    def __init__(self, *lines: str | None) -> None:
        self._lines: Iterator[str | None] = iter(lines)

    def take(self, within_s: float | None) -> str | None:
        try:
            return next(self._lines)
        except StopIteration:
            raise EOFError from None


def test_a_pinch_is_led_marked_and_put_back() -> None:
    done = record(PINCH, "passed", 2.0)
    station = Station(
        view(ProofState.WAITING),
        view(ProofState.WAITING),
        view(ProofState.ARMED),
        view(ProofState.ARMED),
        view(ProofState.CAUSED),
        view(ProofState.DONE, done),
        view(ProofState.RESTORING, done),
        view(),
    )
    said: list[str] = []
    guide = ProofGuide(station.ask, Typist("", None, "", None, ""), said.append)
    guide.lead((PINCH,))
    assert guide.done == {PINCH.kind.value: done}
    assert [deed for deed, *_ in station.deeds] == [
        Deed.BEGIN,
        *[Deed.LOOK] * 3,
        Deed.MARK,
        Deed.LOOK,
        Deed.FINISH,
        Deed.LOOK,
    ]
    assert "  PASSED: sounded after 2.0 s from Enter; 3.2 s at most." in said


def test_a_step_is_finished_whatever_ends_it() -> None:
    station = Station(view(ProofState.WAITING), view(ProofState.ARMED), view())
    guide = ProofGuide(station.ask, Typist(""), [].append)
    with pytest.raises(EOFError):
        guide.lead((PINCH,))
    assert [deed for deed, *_ in station.deeds] == [Deed.BEGIN, Deed.LOOK, Deed.FINISH]


def test_stop_stops_and_a_skip_wants_its_reason() -> None:
    skipped = record(PINCH, "skipped")
    station = Station(view(outcome=skipped))
    guide = ProofGuide(station.ask, Typist("s", "s steel", "q"), [].append)
    with pytest.raises(Stopped):
        guide.lead((PINCH, WALK))
    assert station.deeds == [(Deed.SKIP, "duct_pinched", None, "steel")]
    assert guide.done == {"duct_pinched": skipped}


def test_a_plug_that_was_pulled_is_asked_about_at_the_next_run() -> None:
    told = record(BOX, "passed", 8.0)
    station = Station(view(outcome=told))
    guide = ProofGuide(station.ask, Typist("what", "8"), [].append)
    guide.settle_pending(view(kept=(record(BOX, "pending"), record(WALK, "passed", 6.0))))
    assert station.deeds == [(Deed.TOLD, "box_plug", 8.0, "")]
    later = Station()
    ProofGuide(later.ask, Typist(), [].append).settle_pending(
        view(kept=(record(BOX, "pending"), record(BOX, "passed", 8.0)))
    )
    assert later.deeds == []


def test_a_refusal_ends_the_test() -> None:
    def refuses(args: Arguments) -> ProofView:
        raise NotDone("the hood is worn")

    with pytest.raises(NotDone, match="the hood is worn"):
        ProofGuide(refuses, Typist(""), [].append).lead((PINCH,))


@pytest.mark.parametrize(
    ("said", "seconds"),
    [
        ("7", 7.0),
        ("7,5", 7.5),
        ("7.5s", 7.5),
        ("", None),
        ("-1", None),
        ("nan", None),
        ("inf", None),
        ("9999", None),
        ("soon", None),
    ],
)
def test_seconds_that_are_typed(said: str, seconds: float | None) -> None:
    assert seconds_of(said) == seconds


def test_lines_come_one_by_one_and_then_an_end() -> None:
    read, write = os.pipe()
    try:
        typed = TypedLines(read)
        assert typed.take(0.0) is None
        os.write(write, b"one\ntwo \nthr")
        assert [typed.take(0.0), typed.take(0.0), typed.take(0.0)] == ["one", "two", None]
        os.write(write, b"\xff")
        os.close(write)
        assert typed.take(None) == "thr\N{REPLACEMENT CHARACTER}"
        with pytest.raises(EOFError):
            typed.take(None)
    finally:
        os.close(read)


NOW = datetime.fromisoformat("2026-06-01T10:00:00+00:00")


@pytest.mark.parametrize(
    ("dates", "line"),
    [
        (ProofDates(), "Proof test: never done. Do it: linetender proof"),
        (ProofDates("2026-07-01T10:00:00+00:00"), "Proof test: good until 2026-07-01."),
        (ProofDates("2026-05-01T10:00:00+00:00"), "Proof test: DUE since 2026-05-01."),
        (
            ProofDates("2026-05-01T10:00:00+00:00", ("fan_plug",), ("walk",)),
            "Proof test: FAILED: fan plug pulled; never done: walk to the way out.",
        ),
    ],
)
def test_how_it_stands(dates: ProofDates, line: str) -> None:
    assert due_line(dates, NOW) == line


def test_past_tests_are_listed_and_the_budget_is_told() -> None:
    kept = (record(PINCH, "passed", 2.0), record(WALK, "passed", 6.5))
    lines = list(list_lines(view(kept=kept)))
    assert lines[:2] == [
        "2026-03-01 10:00  duct pinched",
        "    PASSED: sounded after 2.0 s from Enter; 3.2 s at most.",
    ]
    assert outcome_line(kept[1]) == "PASSED: walked in 6.5 s from Enter."
    (budget,) = budget_lines(view(kept=kept))
    assert budget == (
        "Alarm budget: 3.7 s to the sound (reckoned; measured 2.0 s) + 5 s to react + 6.5 s to "
        "leave = 15.2 s. The hood gives 16.6 s until 3 % carbon dioxide: enough."
    )
    slow = (record(PINCH, "failed", 6.0), record(WALK, "passed", 6.5))
    told = list(budget_lines(view(kept=slow)))
    assert "6.0 s to the sound (measured)" in told[0]
    assert told[0].endswith("NOT ENOUGH.")
    assert told[1].startswith("Open the hood while going")
