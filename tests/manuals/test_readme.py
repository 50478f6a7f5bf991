"""README.md tells of every verb, and of every number that a verb can end with."""

import re

import pytest

from linetender.cli.exit_codes import ExitCode
from linetender.cli.main import GROUPS, VERBS
from manuals.manual_pages import CHECKOUT

README = (CHECKOUT / "README.md").read_text(encoding="utf-8")


def test_it_lists_every_verb() -> None:
    listed = re.findall(r"^\| `([a-z-]+)", README, flags=re.MULTILINE)
    verbs = [verb.__name__.replace("_", "-") for verbs in VERBS.values() for verb in verbs]
    assert sorted(listed) == sorted([*verbs, *GROUPS])


def test_its_table_of_exit_codes_is_that_of_the_code() -> None:
    listed = re.findall(r"^\| (\d+) \|", README, flags=re.MULTILINE)
    assert listed == [str(code.value) for code in ExitCode]


@pytest.mark.parametrize("picture", re.findall(r"!\[[^]]+\]\(([^)]+)\)", README))
def test_its_pictures_are_there_and_small(picture: str) -> None:
    assert 1_000 < (CHECKOUT / picture).stat().st_size < 200_000
