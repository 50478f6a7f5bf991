"""A person's pulse that nobody here made, through the pulse rules, a recording and a report.

Source: `data/data3.csv` of HeartPy 1.2.7 (PyPI, Paul van Gent, MIT licence): 11 min of
photoplethysmogram at some 100 Hz, recorded on a person with an optical sensor. It is
read where pip installed it; nothing of it is copied here, and the library is not imported.

The waveform holds no oxygen saturation. A pulse rate is made of it once a second, as
oximeters do: beats by scipy, mean interval of the last 8 s, no value where the beats of
that time disagree. The witness for the rate is the peak of the spectrum, which knows
nothing of beats.
"""

import csv
from collections.abc import Callable
from datetime import datetime
from importlib.metadata import PackageNotFoundError, files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import signal

from linetender.core.drive import drive
from linetender.core.events import AlarmChanged, Event
from linetender.core.inputs import Command, Reading, Verb, reading
from linetender.core.instants import SECOND_NS
from linetender.core.plan import Arrangement, Outside, Plan, RulePlan, Stale
from linetender.core.signals import Signal
from linetender.core.stages import Priority, Stage
from linetender.core.watch import Watch
from linetender.recording.line_stream import LineStream
from linetender.recording.lines import EndReason, SegmentReason, segment_of
from linetender.recording.replay import replay_file
from linetender.reports.session_reading import read_session

RATE_HZ = 50.0
AVERAGED_S = 8.0
DISAGREE = 0.25  # spread of the intervals over their mean, beyond which there is no value

Array = np.ndarray[Any, Any]


def pulse_file() -> Path | None:
    try:
        found = files("heartpy") or []
    except PackageNotFoundError:
        return None
    return next((Path(str(one.locate())) for one in found if one.name == "data3.csv"), None)


pytestmark = pytest.mark.skipif(
    pulse_file() is None, reason="NOT CHECKED on a real pulse: pip install heartpy==1.2.7"
)

# The limits of the default rules: 40 and 150 for 15 s; no reading for 30 s.
PLAN = Plan(
    station="bench",
    arrangement=Arrangement.WEARER_SIDE,
    air=None,
    signals=(Signal.PULSE_RATE_BPM,),
    contacts=(),
    rules=(
        RulePlan(
            id="pulse_out_of_range",
            condition=Outside(Signal.PULSE_RATE_BPM, 40.0, 150.0, 5.0),
            priority=Priority.MEDIUM,
            on_delay_ns=15 * SECOND_NS,
            off_delay_ns=30 * SECOND_NS,
            stages=(Stage.WORN,),
            say="Pulse out of range. Sit down and check yourself.",
        ),
        RulePlan(
            id="pulse_silent",
            condition=Stale((Signal.PULSE_RATE_BPM,), 30 * SECOND_NS),
            priority=Priority.MEDIUM,
            on_delay_ns=0,
            off_delay_ns=10 * SECOND_NS,
            stages=(Stage.WORN,),
            technical=True,
            say="No pulse reading. Look at the finger clip.",
        ),
    ),
)


@pytest.fixture(scope="module")
def waveform() -> Array:
    """Return the filtered waveform, float64, (n,), at 50 Hz."""
    path = pulse_file()
    assert path is not None
    with path.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["datetime"]]
    began = datetime.fromisoformat(rows[0]["datetime"])
    at_s = [(datetime.fromisoformat(row["datetime"]) - began).total_seconds() for row in rows]
    grid = np.arange(0.0, at_s[-1], 1.0 / RATE_HZ)
    even = np.interp(grid, at_s, [float(row["hr"]) for row in rows])
    band = signal.butter(2, (0.7, 3.5), "bandpass", fs=RATE_HZ, output="sos")
    filtered: Array = signal.sosfiltfilt(band, even)
    return filtered


def rates(waveform: Array, faster: float = 1.0) -> list[Reading]:
    """Return a reading a second, as an oximeter would give it; played `faster`."""
    peaks, _ = signal.find_peaks(waveform, distance=0.4 * RATE_HZ, prominence=0.5 * waveform.std())
    beats_s = peaks / RATE_HZ / faster
    found = []
    for second in range(int(AVERAGED_S) + 1, int(beats_s[-1])):
        of = beats_s[(beats_s > second - AVERAGED_S) & (beats_s <= second)]
        gaps = np.diff(of)
        is_sure = len(gaps) >= 4 and gaps.std() <= DISAGREE * gaps.mean()
        value, reason = (float(round(60 / gaps.mean())), None) if is_sure else (None, "no_pulse")
        found.append(reading(second * SECOND_NS, Signal.PULSE_RATE_BPM, value, reason))
    return found


def watched(readings: list[Reading], path: Path) -> list[Event]:
    """Watch and record a session, and return what was said."""
    stream, watch, said = LineStream(), Watch(PLAN, 0), list[Event]()
    first = segment_of(
        PLAN, 0, why=SegmentReason.START, wall="", synchronised=False, boot="demo", settings={}
    )
    written = stream.segment(first)
    for item in [Command(SECOND_NS, Verb.START), *readings]:
        made = list[Event]()
        take: Callable[[tuple[Event, ...]], None] = made.extend
        drive([item], item.arrived_ns, watch, take)
        stream.inputs([item])
        stream.events(tuple(made))
        written += stream.advance(item.arrived_ns)
        said += made
    path.write_bytes(written + stream.end(readings[-1].arrived_ns, EndReason.STOPPED))
    return said


def spectrum_rate(waveform: Array) -> float:
    """Return the pulse rate (1/min) as the peak of the spectrum tells it."""
    frequencies, power = signal.welch(waveform, RATE_HZ, nperseg=int(RATE_HZ * 30))
    return float(60.0 * frequencies[power.argmax()])


def raised(events: list[Event]) -> list[str]:
    return [
        event.rule
        for event in events
        if isinstance(event, AlarmChanged) and event.before == "normal"
    ]


def test_a_real_pulse_sets_off_nothing_and_comes_back_whole(
    waveform: Array, tmp_path: Path
) -> None:
    readings = rates(waveform)
    said = watched(readings, tmp_path / "pulse.jsonl")
    assert raised(said) == []
    outcome = replay_file(tmp_path / "pulse.jsonl")
    assert (outcome.differing, outcome.inputs) == (0, len(readings) + 1)
    figures = read_session((tmp_path / "pulse.jsonl",)).facts.signals["pulse_rate_bpm"]
    good = [item.value for item in readings if item.value is not None]
    assert figures.coverage > 0.9
    assert figures.lowest is not None and figures.lowest.value == min(good)
    assert figures.highest is not None and figures.highest.value == max(good)
    assert figures.mean == pytest.approx(spectrum_rate(waveform), rel=0.05)


def test_the_same_heart_nearly_twice_as_fast_does(waveform: Array, tmp_path: Path) -> None:
    readings = rates(waveform, faster=1.8)
    said = watched(readings, tmp_path / "pulse.jsonl")
    assert raised(said)[:1] == ["pulse_out_of_range"]
    first = next(event for event in said if isinstance(event, AlarmChanged))
    over = [item.arrived_ns for item in readings if (item.value or 0.0) >= 150.0]
    assert first.due_ns >= over[0] + 15 * SECOND_NS
    assert replay_file(tmp_path / "pulse.jsonl").differing == 0


def test_a_probe_that_slips_off_is_silence_and_no_number(waveform: Array, tmp_path: Path) -> None:
    without = waveform.copy()
    without[int(200 * RATE_HZ) : int(320 * RATE_HZ)] = 0.0  # flat, as an empty clip
    readings = rates(without)
    said = watched(readings, tmp_path / "pulse.jsonl")
    assert raised(said) == ["pulse_silent"]
    figures = read_session((tmp_path / "pulse.jsonl",)).facts.signals["pulse_rate_bpm"]
    assert figures.not_good["no_pulse"] >= 90
