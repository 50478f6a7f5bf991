"""An alarm that a proof test asked for is told as that, and is not the headline of a session."""

from pathlib import Path

import pytest

from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged
from linetender.core.inputs import Fact
from linetender.core.stages import Priority
from linetender.reports.page import page
from linetender.reports.proof_times import ProofTimes
from linetender.reports.session_facts import SessionFacts
from linetender.reports.session_reading import ReadSession, read_session
from linetender.reports.story import headline, story
from linetender.reports.trend_page import total
from reports.sessions_to_report import at, pressure, recorded


def step(at_s: float, name: str, goes_on: bool) -> Fact:
    return Fact(at(at_s), "proof_step", goes_on, name)


MARKS = [
    # What was recorded; an instant (s), and the step that went on then.
    ([step(10, "fan_plug", True), step(30, "fan_plug", False)], 9.9, ""),
    ([step(10, "fan_plug", True), step(30, "fan_plug", False)], 10.0, "fan_plug"),
    ([step(10, "fan_plug", True), step(30, "fan_plug", False)], 30.0, "fan_plug"),
    ([step(10, "fan_plug", True), step(30, "fan_plug", False)], 30.1, ""),
    ([step(10, "fan_plug", True), step(30, "duct_pinched", True)], 31.0, "duct_pinched"),
    ([step(10, "fan_plug", True)], 9999.0, "fan_plug"),
    ([step(10, "fan_plug", False)], 11.0, ""),
    ([Fact(at(10), "broker_lost", True)], 11.0, ""),
]


@pytest.mark.parametrize(("marks", "at_s", "name"), MARKS)
def test_which_step_went_on(marks: list[Fact], at_s: float, name: str) -> None:
    times = ProofTimes()
    for mark in marks:
        times.see(mark, mark.arrived_ns)
    assert times.step_at(at_s) == name


def test_a_restart_breaks_a_step_off() -> None:
    times = ProofTimes()
    times.see(step(10, "fan_plug", True), at(10))
    times.end(at(20))
    assert (times.step_at(15.0), times.step_at(21.0)) == ("fan_plug", "")


def leave(at_s: float, n: int) -> AlarmChanged:
    states = (AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED)
    return AlarmChanged(at(at_s), n, "air_lost", *states, Priority.HIGH, 37.5)


def over(at_s: float, n: int) -> AlarmChanged:
    states = (AlarmState.ACKNOWLEDGED, AlarmState.NORMAL)
    return AlarmChanged(at(at_s), n, "air_lost", *states, Priority.HIGH)


def session(folder: Path, *events: AlarmChanged) -> ReadSession:
    """Return a session with a step of a proof test from 10 s to 30 s."""
    marks = [step(10, "fan_plug", True), step(30, "fan_plug", False)]
    inputs = [*pressure((second, 64) for second in range(60)), *marks]
    inputs.sort(key=lambda item: item.arrived_ns)
    path = recorded(folder / "a.jsonl", inputs, list(events), until_s=60)
    return read_session((path,))


def plain(text: str) -> str:
    """Return a text as a terminal shows it."""
    return text.replace("\N{NO-BREAK SPACE}", " ")


def test_an_alarm_in_a_step_is_told_as_asked_for(tmp_path: Path) -> None:
    read = session(tmp_path, leave(15, 1), over(25, 2))
    facts: SessionFacts = read.facts
    assert [one.proof for one in facts.alarms] == ["fan_plug"]
    assert plain(headline(facts)) == "LEAVE at 0:15 min, in the proof test (fan plug): Air lost."
    told = [plain(line) for line in story(facts, read.time_of_day) if line.startswith("1. ")]
    assert told[0].startswith("1. LEAVE at 0:15 min (08:00:15), in the proof test (fan plug): Air")
    assert ", in the proof test (fan plug)</td>" in page(read)
    assert total([facts, facts]).endswith("LOOK 0 ×. 2 of these in proof tests.")


def test_a_leave_that_nobody_asked_for_goes_first(tmp_path: Path) -> None:
    read = session(tmp_path, leave(15, 1), over(25, 2), leave(40, 3))
    assert [one.proof for one in read.facts.alarms] == ["fan_plug", ""]
    assert plain(headline(read.facts)) == "LEAVE at 0:40 min: Air lost. 2 LEAVEs in all."
