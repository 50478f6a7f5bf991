"""The filter in reports: of one session in sentences, of several as a trend. All invented."""

import re
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from linetender.cli.main import app
from linetender.reports.filter_story import NOTHING, filter_lines, filter_seen
from linetender.reports.filter_trend import filter_block, filter_plots, filter_summaries
from linetender.reports.page import page
from linetender.reports.session_facts import SessionFacts
from linetender.reports.session_reading import ReadSession, read_session
from linetender.reports.trend_page import trend_page
from linetender.reports.trend_plot import Extent
from reports.filter_entries import BY_AIR, LOADING, OVER, YOUNG, entry_after
from reports.sessions_to_report import header, pressure, segment_bytes

TOLD = {
    "too few uses": (
        YOUNG,
        (
            "Filter, H13, new on 2031-03-01: 6.0 h of use when the session began.",
            "No date can be foretold: too few uses yet, 6 at least are needed.",
            "When it is due is not known.",
        ),
    ),
    "due on a day": (
        LOADING,
        (
            "Filter, H13, new on 2031-03-01: 24.0 h of use when the session began.",
            "Its resistance: 140 % of that when new; due at 200 %.",
            "At its limit at 59 h of use (90 %: 56 to 63 h), about 2031-05-09 "
            "(90 %: 2031-04-19 to 2031-05-28).",
            "Due on 2031-05-09.",
        ),
    ),
    "past its limit": (
        OVER,
        (
            "Filter, H13, new on 2031-03-01: 61.0 h of use when the session began.",
            "Its resistance: 203 % of that when new; due at 200 %.",
            "At its limit at 59 h of use (90 %: 56 to 63 h): since 2031-04-30.",
            "It was due since 2031-04-30.",
        ),
    ),
    "by the airflow, no end of the interval": (
        BY_AIR | {"projected_to": ""},
        (
            "Filter, H13, new on 2031-03-01: 24.0 h of use when the session began.",
            "It lets 91 % of the new filter's air through; due at 80 %. Measured is the airflow "
            "at the fan's speed: what else takes air looks the same.",
            "At its limit at 59 h of use (90 %: 56 to 63 h), about 2031-05-09 "
            "(90 %: 2031-04-19 to open).",
            "Due on 2031-05-09.",
        ),
    ),
    "hours but no date": (
        LOADING | {"projected_at": "", "projected_from": "", "projected_to": "", "due_at": ""},
        (
            "Filter, H13, new on 2031-03-01: 24.0 h of use when the session began.",
            "Its resistance: 140 % of that when new; due at 200 %.",
            "At its limit at 59 h of use (90 %: 56 to 63 h); no date yet, 14 days under a clock "
            "that is right are needed.",
            "When it is due is not known.",
        ),
    ),
    "found in place, nothing measured, good for some days": (
        YOUNG
        | {
            "was_new": False,
            "label": "",
            "outlook": "no_air_readings",
            "due_at": "2031-08-28T09:00:00+00:00",
        },
        (
            "Filter, found in place on 2031-03-01: 6.0 h of use when the session began.",
            "How old it was then is not known: it may be due sooner than what follows says.",
            "No date can be foretold: nothing was measured of it yet.",
            "Due on 2031-08-28.",
        ),
    ),
    "no rise": (
        YOUNG | {"hours": 24.0, "outlook": "no_rise", "loading": 0.998, "limit": 2.0},
        (
            "Filter, H13, new on 2031-03-01: 24.0 h of use when the session began.",
            "Its resistance: 100 % of that when new; due at 200 %.",
            "No date can be foretold: no loading stands out from the scatter yet.",
            "When it is due is not known.",
        ),
    ),
}


def recording(path: Path, *entries: dict[str, Any], settings: dict[str, Any] | None = None) -> Path:
    """Write a short session of 2031-05-01 whose header has these entries."""
    first = header(settings=settings, calibrations=entries)
    path.write_bytes(segment_bytes(first, pressure([(s, 64.0) for s in range(20)]), [], 20))
    return path


def sessions(folder: Path, *each: dict[str, Any] | None) -> list[ReadSession]:
    return [
        read_session((recording(folder / f"{number}.jsonl", *([entry] if entry else [])),))
        for number, entry in enumerate(each, 1)
    ]


def facts(folder: Path, *each: dict[str, Any] | None) -> list[SessionFacts]:
    return [session.facts for session in sessions(folder, *each)]


def plain(text: str) -> str:
    """Return a text without what only keeps its parts together."""
    without = re.sub(r'<span class="day">([^<]*)</span>', r"\1", text)
    return unescape(without).replace("\N{NO-BREAK SPACE}", " ")


# One session


@pytest.mark.parametrize(("entry", "lines"), TOLD.values(), ids=TOLD)
def test_how_the_filter_stood_is_told_in_sentences(
    entry: dict[str, Any], lines: tuple[str, ...], tmp_path: Path
) -> None:
    (session,) = sessions(tmp_path, entry)
    assert tuple(map(plain, filter_lines(session.facts))) == lines
    assert all(f"<li>{line}</li>" in plain(page(session)) for line in lines)


def test_where_nothing_is_recorded_that_is_said(tmp_path: Path) -> None:
    (session,) = sessions(tmp_path, None)
    assert filter_lines(session.facts) == ["Nothing is recorded of the filter."]
    assert "<li>Nothing is recorded of the filter.</li>" in page(session)


def test_the_station_file_is_told_with_units(tmp_path: Path) -> None:
    settings = {
        "filter": {
            "medium": "hepa",
            "width_mm": 305.0,
            "height_mm": 152.5,
            "rated_pa": 60.0,
            "rated_airflow_l_min": 600.0,
            "efficiency_class": "H13",
            "due_at_resistance": 2.0,
            "due_at_airflow_percent": 80.0,
            "good_for_hours": 200.0,
            "good_for_days": 365.0,
        }
    }
    session = read_session((recording(tmp_path / "a.jsonl", settings=settings),))
    assert [plain(line) for line in filter_lines(session.facts)] == [
        "Filter, by the station file: class H13, medium hepa, 305 mm wide, 152.5 mm high, "
        "60 Pa when new, rated at 600 L/min, due at 2 times its resistance when new, "
        "due at 80 % of the new filter's airflow, due after 200 h of use in any case, "
        "due after 365 days in any case.",
        "Nothing is kept of its hours.",
    ]


def test_when_the_session_began_is_not_known_past_is_not_claimed(tmp_path: Path) -> None:
    first = header(synchronised=False, calibrations=(OVER,))
    file = tmp_path / "a.jsonl"
    file.write_bytes(segment_bytes(first, pressure([(1, 64.0)]), [], 20))
    assert filter_lines(read_session((file,)).facts)[-1] == "Due on 2031-04-30."


def test_what_the_ledger_writes_into_headers_is_read_back() -> None:
    seen = filter_seen((entry_after(12),))
    assert seen is not None
    assert (seen.hours, seen.label, seen.limit) == (24.0, "H13", 2.0)
    # As it was made: 1 + 24 h / 60 h, and twice the resistance at 60 h.
    assert seen.loading == pytest.approx(1.4, rel=0.03)
    assert seen.due_hours_from is not None and seen.due_hours_to is not None
    assert seen.due_hours_from < 60.0 < seen.due_hours_to


@pytest.mark.parametrize(
    ("entry", "why"),
    [
        ({"kind": "filter"}, "Object missing required field `made_at`"),
        (LOADING | {"hours": "many"}, "Expected `float`, got `str` - at `$.hours`"),
        (LOADING | {"outlook": "else"}, "Invalid enum value 'else' - at `$.outlook`"),
        (LOADING | {"made_at": "soon"}, "Invalid isoformat string: 'soon'"),
        (
            LOADING | {"due_at": "2031-05-09T10:00:00"},
            "2031-05-09T10:00:00 tells no offset from UTC",
        ),
    ],
)
def test_what_is_no_filter_never_hides_the_rest(
    entry: dict[str, Any], why: str, tmp_path: Path
) -> None:
    session, other = sessions(tmp_path, entry, LOADING)
    line = f"What is recorded of the filter cannot be read: {why}."
    assert session.facts.filter == {"cannot_be_read": why}
    assert filter_lines(session.facts) == [line]
    assert f"<p>Session 1: {line}</p>" in plain(filter_block([session.facts, other.facts]))
    assert [list(plot.figures) for plot in filter_plots([session.facts, other.facts])] == [[2]]


def test_the_facts_for_programs_name_what_is_known(tmp_path: Path) -> None:
    young, loading = facts(tmp_path, YOUNG, LOADING)
    assert young.filter == {
        "new_on": "2031-03-01",
        "note": "H13",
        "hours_of_use": 6.0,
        "loading_measured_by": "resistance",
    }
    assert loading.filter == {
        "new_on": "2031-03-01",
        "note": "H13",
        "hours_of_use": 24.04,
        "loading_measured_by": "resistance",
        "loading_percent_of_new": 140.4,
        "due_at_percent_of_new": 200.0,
        "due_on": "2031-05-09",
        "due_not_before_with_90_percent": "2031-04-19",
        "due_not_after_with_90_percent": "2031-05-28",
    }


# Several sessions


def test_the_trend_has_the_loading_of_each_session_and_the_limit(tmp_path: Path) -> None:
    (plot,) = filter_plots(facts(tmp_path, YOUNG, LOADING, None, OVER))
    assert plot.figures == {
        2: Extent(pytest.approx(140.43)),
        4: Extent(pytest.approx(203.1)),
    }
    assert (plot.sessions, plot.limits, plot.unit) == (4, (200.0,), "%")
    assert plot.about == "In percent: 140 at 24.0 h in session 2, 203 at 61.0 h in session 4."


def test_resistance_and_airflow_are_never_in_one_plot(tmp_path: Path) -> None:
    plots = filter_plots(facts(tmp_path, LOADING, BY_AIR))
    assert [(plot.key, list(plot.figures), plot.limits) for plot in plots] == [
        ("trend-filter-resistance", [1], (200.0,)),
        ("trend-filter-airflow", [2], (80.0,)),
    ]


def test_the_page_has_plot_table_and_the_newest_state_in_any_order(tmp_path: Path) -> None:
    text = plain(trend_page(sessions(tmp_path, OVER, YOUNG, None, LOADING)))
    block = text[text.index("<h2>The filter</h2>") : text.index("<h2>Each session</h2>")]
    assert block.count('class="limit"') == 2  # wide and narrow
    assert block.count("<circle") == 4
    rows = [row.split("</tr>")[0] for row in block.split("<tbody>")[1].split("<tr>")[1:]]
    shown = [[cell.split(">")[-1] for cell in cells_of(row)] for row in rows]
    until = "At its limit at 59 h of use (90 %: 56 to 63 h)"
    assert shown == [
        ["1", NAME, "61.0 h", "203 %", "200 %", f"{until}: since 2031-04-30", "2031-04-30"],
        [
            "2",
            NAME,
            "6.0 h",
            "not known",
            "",
            "No date can be foretold: too few uses yet, 6 at least are needed",
            "not known",
        ],
        [
            "4",
            NAME,
            "24.0 h",
            "140 %",
            "200 %",
            f"{until}, about 2031-05-09 (90 %: 2031-04-19 to 2031-05-28)",
            "2031-05-09",
        ],
    ]
    assert "bench, newest state, as session 1 began:" in block
    assert "<li>It was due since 2031-04-30.</li>" in block


NAME = "H13, new on 2031-03-01"


def cells_of(row: str) -> list[str]:
    return [part for part in row.replace("</th>", "</td>").split("</td>") if part.strip()]


def test_the_terminal_has_a_line_of_the_newest_state(tmp_path: Path) -> None:
    known = facts(tmp_path, OVER, YOUNG, None, LOADING)
    lines = [plain(line) for line in filter_summaries(known)]
    assert lines == [
        f"Filter of bench, {NAME}: 61.0 h of use when the last of them began. "
        "It was due since 2031-04-30."
    ]
    lines = [plain(line) for line in filter_summaries(known[3:])]
    assert lines == [
        f"Filter of bench, {NAME}: 24.0 h of use when the session began. Due on 2031-05-09."
    ]
    assert filter_summaries(known[2:3]) == []


def test_without_any_ledger_the_page_says_so(tmp_path: Path) -> None:
    assert filter_plots(facts(tmp_path, None, None)) == []
    assert filter_block(facts(tmp_path, None, None)) == f"<p>{NOTHING}</p>"


def test_with_too_little_there_are_words_and_no_plot(tmp_path: Path) -> None:
    known = facts(tmp_path, YOUNG, YOUNG | {"hours": 8.0})
    assert filter_plots(known) == []
    text = plain(filter_block(known))
    assert "<li>No date can be foretold: too few uses yet, 6 at least are needed.</li>" in text
    assert "as session 2 began" in text


def test_the_verb_writes_it(tmp_path: Path) -> None:
    files = [
        str(recording(tmp_path / f"{number}.jsonl", entry))
        for number, entry in enumerate((YOUNG, LOADING, OVER))
    ]
    out = tmp_path / "all.html"
    result = CliRunner().invoke(app, ["report", *files, "--out", str(out)])
    assert result.exit_code == 0, result.output
    assert "In percent: 140 at 24.0 h in session 2, 203 at 61.0 h in session 3." in plain(
        out.read_text(encoding="utf-8")
    )
