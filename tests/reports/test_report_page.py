"""The page as text: it needs nothing else, everybody can read it, nothing in it is obeyed."""

import re
from html.parser import HTMLParser
from itertools import product
from pathlib import Path

import pytest

from linetender.annunciation.cautions import CAUTIONS
from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged
from linetender.core.plan import Plan
from linetender.core.stages import Priority
from linetender.reports.axis import enclosing, ticks, time_ticks
from linetender.reports.durations import clock, moment, part_text, span
from linetender.reports.marks import labels
from linetender.reports.page import page
from linetender.reports.palette import DARK, GRAPHICS, GROUNDS, LIGHT, TEXT
from linetender.reports.session_facts import Episode
from linetender.reports.session_reading import ReadSession, read_session
from linetender.reports.trend_page import trend_page
from reports.sessions_to_report import PLAN, at, pressure, recorded, spo2, worn


class Elements(HTMLParser):
    """Gathers elements with their attributes, and checks that they close."""

    EMPTY = frozenset({"meta", "link", "br"})

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))
        if tag not in self.EMPTY:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def named(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.found if name == tag]


def a_session(folder: Path, plan: Plan = PLAN) -> ReadSession:
    """Return a session with an alarm, an airflow, and oxygen that is lost for a while."""
    inputs = pressure((second, 64 if second < 40 else 9) for second in range(60))
    inputs += spo2((second, 97 if second < 20 else 91) for second in range(50))
    states = (AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED)
    alarm = AlarmChanged(at(43), 1, plan.rules[0].id, *states, Priority.HIGH, 37.5)
    path = recorded(folder / "a.jsonl", inputs, [worn(5), alarm], until_s=60, plan=plan)
    return read_session((path,))


def test_it_needs_nothing_from_anywhere(tmp_path: Path) -> None:
    session = a_session(tmp_path)
    for text in (page(session), trend_page([session, session])):
        elements = Elements(text)
        assert elements.named("script") == []
        assert [one["href"] for one in elements.named("link")] == ["data:,"]
        assert not any("src" in attributes for _, attributes in elements.found)
        assert re.findall(r"https?:|@import|url\((?!#)", text) == []


def test_who_does_not_see_the_plots_reads_them(tmp_path: Path) -> None:
    session = a_session(tmp_path)
    for text in (page(session), trend_page([session, session])):
        elements = Elements(text)
        plots = [one for one in elements.named("svg") if one.get("role") == "img"]
        ids = [one["id"] for _, one in elements.found if "id" in one]
        assert len(ids) == len(set(ids)) and len(plots) >= 4
        named = [name for one in plots for name in (one["aria-labelledby"] or "").split()]
        assert len(named) == 2 * len(plots) and set(named) <= set(ids)
        tables = len(elements.named("table"))
        assert len(elements.named("caption")) == tables >= 1
        assert elements.named("html")[0]["lang"] == "en"
        assert all(one.get("scope") in ("col", "row") for one in elements.named("th"))


def test_what_happened_comes_first_and_all_else_is_there(tmp_path: Path) -> None:
    text = page(a_session(tmp_path))
    order = ["LEAVE at 0:43\N{NO-BREAK SPACE}min: Air lost.", "<svg", "<table", "Exceptions"]
    places = [text.index(part, text.index("<main>")) for part in order]
    assert places == sorted(places)
    assert "no_siren: the bench is indoors" in text
    assert all(caution.full in text for caution in CAUTIONS)
    assert "37.5\N{NO-BREAK SPACE}%" in text
    assert "no reading" in text  # the oxygen's last seconds
    assert 'class="doubt"' in text  # the uncertainty of the airflow


def test_a_leave_and_a_look_differ_in_form() -> None:
    one = Episode(number=1, n=1, rule="a", priority="high", at_s=1.0, say="A.")
    two = Episode(number=2, n=2, rule="b", priority="medium", at_s=2.0, say="B.")
    far = labels((one, two), [100.0, 300.0], 0.0, 400.0)
    assert [(label.text, label.is_leave) for label in far] == [("1", True), ("2", False)]
    near = labels((one, two), [100.0, 104.0], 0.0, 400.0)
    assert [(label.text, label.is_leave) for label in near] == [("1–2", True)]


def test_many_labels_never_cover_each_other() -> None:
    alarms = tuple(
        Episode(number=number, n=number, rule="a", priority="low", at_s=number, say="A.")
        for number in range(1, 200)
    )
    placed = labels(alarms, [alarm.at_s * 3.1 for alarm in alarms], 0.0, 620.0)
    edges = [edge for one in placed for edge in (one.x - one.width / 2, one.x + one.width / 2)]
    assert edges == sorted(edges) and edges[0] >= 0.0 and edges[-1] <= 620.0


HOSTILE = "<script>alert(1)</script>&\"'"


def test_words_out_of_a_recording_are_never_markup(tmp_path: Path) -> None:
    rule = {"id": HOSTILE, "say": HOSTILE}
    fields = {name: getattr(PLAN.rules[0], name) for name in PLAN.rules[0].__struct_fields__}
    plan_fields = {name: getattr(PLAN, name) for name in PLAN.__struct_fields__}
    hostile = type(PLAN.rules[0])(**(fields | rule))
    plan = Plan(
        **(plan_fields | {"rules": (hostile,), "station": HOSTILE, "exceptions": (HOSTILE,)})
    )
    session = a_session(tmp_path, plan)
    for text in (page(session), trend_page([session])):
        assert Elements(text).named("script") == []
        assert "&lt;script&gt;" in text


# Contrast: WCAG 2.1, definitions of relative luminance and contrast ratio


def luminance(colour: str) -> float:
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_contrast_of_black_on_white_is_21_and_of_a_known_grey_4_54() -> None:
    # #767676 is the usual example of the lightest grey that passes on white.
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize(("colours", "ground"), list(product((LIGHT, DARK), GROUNDS)))
def test_contrast_is_that_of_level_aa(colours: dict[str, str], ground: str) -> None:
    text = {name: contrast(colours[name], colours[ground]) for name in TEXT}
    graphics = {name: contrast(colours[name], colours[ground]) for name in GRAPHICS}
    assert {name: ratio for name, ratio in text.items() if ratio < 4.5} == {}
    assert {name: ratio for name, ratio in graphics.items() if ratio < 3.0} == {}
    assert contrast(colours["ground"], colours["leave"]) >= 4.5  # the number in its square


# Times and axes

NBSP = "\N{NO-BREAK SPACE}"


@pytest.mark.parametrize(
    ("seconds", "as_span", "as_clock"),
    [
        (0.0, "0.0 s", "0:00"),
        (59.94, "59.9 s", "0:59"),
        (59.96, "1 min 0 s", "0:59"),
        (725.4, "12 min 5 s", "12:05"),
        (3599.6, "1 h 0 min", "59:59"),
        (86_399.0, "23 h 59 min", "23:59:59"),
    ],
)
def test_times_in_words(seconds: float, as_span: str, as_clock: str) -> None:
    assert span(seconds).replace(NBSP, " ") == as_span
    assert clock(seconds) == as_clock


def test_a_moment_names_its_unit() -> None:
    assert [moment(103.2), moment(7205)] == [f"1:43{NBSP}min", f"2:00:05{NBSP}h"]


def test_nearly_all_is_not_called_all() -> None:
    assert [part_text(part) for part in (1.0, 0.99999, 0.5, 0.0)] == [
        f"100{NBSP}%",
        f"over 99.9{NBSP}%",
        f"50{NBSP}%",
        f"0{NBSP}%",
    ]


def test_axes_are_round() -> None:
    assert enclosing(3.0, 97.0, 5) == (0.0, 100.0)
    assert ticks(0.0, 100.0, 5) == [0.0, 20.0, 40.0, 60.0, 80.0, 100.0]
    assert enclosing(5.0, 5.0, 5) == (4.0, 6.0)
    assert time_ticks(100.0, 5) == [(0.0, "0:00"), (30.0, "0:30"), (60.0, "1:00"), (90.0, "1:30")]
    assert [label for _, label in time_ticks(86_400.0, 4)] == [
        "0:00",
        "6:00:00",
        "12:00:00",
        "18:00:00",
        "24:00:00",
    ]
