"""The pictures of README.md show what the demo shows now; `--update-golden` makes them anew."""

import html
import re
from pathlib import Path

import pytest

from manuals.drawn_pictures import (
    LIVE_VIEW,
    REPORT,
    live_view_svg,
    live_view_text,
    photograph_report,
)
from reports.rendered import CHROMIUM

TEXT = re.compile(r'<text[^>]* x="(?P<x>[\d.]+)" y="(?P<y>[\d.]+)"[^>]*>(?P<text>[^<]*)</text>')
FRAME = re.compile(r"[\u2500-\u259f·]+")


def lines_of(svg: str) -> list[str]:
    """Return the lines of a drawn terminal from the top, without frames and bars."""
    rows: dict[float, dict[float, str]] = {}
    for found in TEXT.finditer(svg):
        text = html.unescape(found["text"]).replace("\xa0", " ")
        rows.setdefault(float(found["y"]), {})[float(found["x"])] = text
    lines = ("".join(rows[y][x] for x in sorted(rows[y])) for y in sorted(rows))
    return [words for line in lines if (words := bare(line))]


def bare(line: str) -> str:
    """Return the letters of a line; where it leaves room, a picture has no letter."""
    return "".join(FRAME.sub("", line).split())


def test_the_live_view_is_as_drawn(update_golden: bool) -> None:
    if update_golden:
        LIVE_VIEW.write_text(live_view_svg(), encoding="utf-8")
    now = [words for line in live_view_text().splitlines() if (words := bare(line))]
    assert lines_of(LIVE_VIEW.read_text(encoding="utf-8")) == now
    assert any(line.startswith("LEAVEAirlost.") for line in now)


def test_the_live_view_loads_nothing() -> None:
    svg = LIVE_VIEW.read_text(encoding="utf-8")
    assert "url(http" not in svg and "<script" not in svg


def test_the_report_is_a_picture(update_golden: bool, tmp_path: Path) -> None:
    if update_golden:
        if CHROMIUM is None:
            pytest.skip("NOT MADE ANEW: install chromium")
        REPORT.write_bytes(photograph_report(tmp_path))
    assert REPORT.read_bytes().startswith(b"\x89PNG\r\n")
