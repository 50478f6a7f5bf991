"""What the pages at the top level promise is there."""

import re
from pathlib import Path

import pytest

from linetender.cli.main import GROUPS, VERBS

CHECKOUT = Path(__file__).resolve().parents[2]
PAGES = sorted(CHECKOUT.glob("*.md"))
LINK = re.compile(r"\]\((?!https?:)([^)#]+)")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    targets = LINK.findall(page.read_text(encoding="utf-8"))
    assert [target for target in targets if not (page.parent / target).exists()] == []


def test_the_readme_lists_every_verb() -> None:
    text = (CHECKOUT / "README.md").read_text(encoding="utf-8")
    listed = re.findall(r"^\| `([a-z-]+)", text, flags=re.MULTILINE)
    verbs = [verb.__name__.replace("_", "-") for verbs in VERBS.values() for verb in verbs]
    assert sorted(listed) == sorted([*verbs, *GROUPS])
