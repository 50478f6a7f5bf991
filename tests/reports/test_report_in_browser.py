"""The pages in a real browser, which nobody here wrote: layout, console, print.

Source of the witness: Chromium (Debian's package `chromium`). A zoom of z on a window
of 1280 px is a page of 1280/z CSS px.
"""

import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import msgspec
import pytest

from linetender.reports.page import page
from linetender.reports.session_reading import ReadSession, read_session
from linetender.reports.trend_page import trend_page
from reports.filter_entries import BY_AIR, entry_after
from reports.rendered import CHROMIUM, console_of, measured, printed

pytestmark = pytest.mark.skipif(
    CHROMIUM is None, reason="NOT CHECKED in a browser: install chromium (apt install chromium)"
)

ZOOMS = (0.8, 1.0, 1.25, 1.5, 2.0)
PHONES = (412, 360, 320)
WIDTHS = (*(round(1280 / zoom) for zoom in ZOOMS), *PHONES)

# An ordinary session, a fan stop, a wearer's decline, an airflow with its uncertainty,
# readings that break off. All invented.
SCENARIOS = (
    "ordinary_day",
    "fan_stop_answered",
    "hypoventilation",
    "less_than_required",
    "oximeter_off",
)


@pytest.fixture(scope="module")
def sessions(tmp_path_factory: pytest.TempPathFactory) -> dict[str, ReadSession]:
    folder = tmp_path_factory.mktemp("sessions")
    command = Path(sys.executable).with_name("linetender")
    found = {}
    for name in SCENARIOS:
        file = folder / f"{name}.jsonl"
        arguments = ["demo", "--scenario", name, "--headless", "--speed", "0", "--record", file]
        subprocess.run([command, *arguments], capture_output=True, timeout=100, check=True)
        found[name] = read_session((file,))
    return found


def pages(sessions: dict[str, ReadSession]) -> dict[str, str]:
    found = {name: page(session) for name, session in sessions.items()}
    ledger = (entry_after(3), entry_after(8), entry_after(12), entry_after(24), BY_AIR)
    told = [
        replace(one, facts=msgspec.structs.replace(one.facts, calibrations=(entry,)))
        for one, entry in zip(sessions.values(), ledger, strict=True)
    ]
    return found | {"trends": trend_page(list(sessions.values())), "filters": trend_page(told)}


@pytest.mark.parametrize("name", [*SCENARIOS, "trends", "filters"])
def test_nothing_overlaps_or_runs_out_at_any_zoom(
    name: str, sessions: dict[str, ReadSession], tmp_path: Path
) -> None:
    found, console = measured(pages(sessions)[name], WIDTHS, tmp_path)
    assert [one["width"] for one in found] == list(WIDTHS)
    assert [one["scroll_width"] for one in found] == list(WIDTHS)
    assert {one["width"]: one["overlaps"] for one in found if one["overlaps"]} == {}
    assert {one["width"]: one["outside"] for one in found if one["outside"]} == {}
    assert {one["width"]: one["small"] for one in found if one["small"]} == {}
    assert {one["width"]: one["cut_tables"] for one in found if one["cut_tables"]} == {}
    assert len({one["plots"] for one in found}) == 1 and found[0]["plots"] >= 3
    assert console == []


def test_the_page_loads_nothing_and_says_nothing_on_the_console(
    sessions: dict[str, ReadSession], tmp_path: Path
) -> None:
    assert console_of(pages(sessions)["fan_stop_answered"], tmp_path) == []


def test_it_prints_on_a_few_sheets(sessions: dict[str, ReadSession], tmp_path: Path) -> None:
    pdf = printed(pages(sessions)["fan_stop_answered"], tmp_path)
    assert pdf.startswith(b"%PDF-")
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 4


# That the measuring finds what it must find


def test_faults_of_layout_are_found(tmp_path: Path) -> None:
    bad = (
        "<!doctype html><style>body{margin:0}</style><main>"
        '<div style="width:900px;height:9px">x</div>'
        '<svg role="img" viewBox="0 0 900 50" style="width:100%"><text x="5" y="20">one</text>'
        '<text x="8" y="22">two</text></svg></main>'
    )
    found, _ = measured(bad, (400,), tmp_path)
    assert found[0]["scroll_width"] == 900
    assert found[0]["overlaps"] == ["one / two"]
    assert "DIV" in found[0]["outside"]


def test_messages_on_the_console_are_found(tmp_path: Path) -> None:
    bad = "<!doctype html><script>console.error('broken')</script>"
    assert len(console_of(bad, tmp_path)) == 1
