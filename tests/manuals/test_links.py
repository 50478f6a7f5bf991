"""Every link of every page leads somewhere."""

from pathlib import Path

import pytest

from manuals.manual_pages import CHECKOUT, PAGES, anchors, links


def broken(page: Path) -> list[str]:
    """Return the links that lead to no file, or to no heading of it."""
    found = []
    for target in links(page):
        path, _, anchor = target.partition("#")
        file = (page.parent / path) if path else page
        if not file.exists() or (anchor and anchor not in anchors(file)):
            found.append(target)
    return found


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(CHECKOUT)))
def test_links_lead_somewhere(page: Path) -> None:
    assert broken(page) == []


def test_a_link_that_leads_nowhere_is_found(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text("# Two `words`, here\n[a](#two-words-here) [b](#three) [c](gone.md)\n")
    assert broken(page) == ["#three", "gone.md"]
