"""Delay against false alarms, drawn: one file, every choice in its place."""

import re
from xml.etree import ElementTree

from linetender.reports.detection_plot import Choice, DetectionPlot, Panel, draw_detection

SVG = "{http://www.w3.org/2000/svg}"
CHOICES = (
    Choice(65.0, 0.0, 1.0, 40.0),
    Choice(65.0, 2.0, 3.0, 0.0),
    Choice(80.0, 0.0, 0.5, 4000.0),
    Choice(80.0, 2.0, 2.5, 400.0),
)
BOUND = ((1.0, 0.6), (1000.0, 0.3))
PLOT = DetectionPlot(
    "How soon & how often",
    "A note.",
    (Panel("wearer_side", CHOICES, BOUND, 100), Panel("fan_side", CHOICES[1:2], (), 100)),
    (65.0, 2.0),
    ((4.6, "to leave"), (11.6, "to open the hood")),
)
DRAWN = ElementTree.fromstring(draw_detection(PLOT))


def places(panel: int) -> dict[str, tuple[float, float]]:
    """Return where the marks of a panel stand, by what their titles say."""
    found = {}
    for path in DRAWN.iter(f"{SVG}path"):
        title = path.find(f"{SVG}title")
        at = re.fullmatch(r"translate\(([\d.]+) ([\d.]+)\)", path.get("transform", ""))
        if title is not None and title.text is not None and at is not None:
            x, y = float(at[1]), float(at[2])
            if (x > 500.0) == bool(panel):
                found[title.text.split(":")[0]] = (x, y)
    return found


def test_each_choice_has_a_mark_in_its_panel() -> None:
    assert sorted(places(0)) == ["65 %, 0 s", "65 %, 2 s", "80 %, 0 s", "80 %, 2 s"]
    assert list(places(1)) == ["65 %, 2 s"]


def test_sooner_is_left_quieter_is_lower_and_never_is_lowest() -> None:
    at = places(0)
    by_delay = sorted(at, key=lambda name: at[name][0])
    assert by_delay == ["80 %, 0 s", "65 %, 0 s", "80 %, 2 s", "65 %, 2 s"]
    by_rate = sorted(at, key=lambda name: at[name][1])
    assert by_rate == ["80 %, 0 s", "80 %, 2 s", "65 %, 0 s", "65 %, 2 s"]


def test_the_default_is_ringed_where_it_stands() -> None:
    rings = [ring for ring in DRAWN.iter(f"{SVG}circle") if ring.get("class") == "shipped"][1:]
    ringed = [(float(ring.get("cx", "0")), float(ring.get("cy", "0"))) for ring in rings]
    assert ringed == [places(0)["65 %, 2 s"], places(1)["65 %, 2 s"]]


def test_bound_budgets_and_units_are_there() -> None:
    classes = [path.get("class", "") for path in DRAWN.iter(f"{SVG}path")]
    assert (classes.count("bound"), classes.count("limit")) == (1, 4)
    words = " ".join("".join(text.itertext()) for text in DRAWN.iter(f"{SVG}text"))
    for part in ("median (s)", "false alarms in 1000 h", "budget 2: at 11.6 s, to open the hood"):
        assert part in words


def test_it_needs_nothing_else_and_has_both_palettes() -> None:
    text = draw_detection(PLOT)
    assert re.findall(r"https?://[^\"' ]+", text) == ["http://www.w3.org/2000/svg"]
    assert "prefers-color-scheme:dark" in text
    assert "How soon &amp; how often" in text
