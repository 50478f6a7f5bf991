"""Every standing caution stands in README.md too, before the first command."""

from pathlib import Path

import pytest

from linetender.annunciation.cautions import CAUTIONS, Caution

README = Path(__file__).resolve().parents[2] / "README.md"


@pytest.mark.parametrize("caution", CAUTIONS, ids=lambda caution: caution.short)
def test_it_stands_in_the_readme(caution: Caution) -> None:
    before_commands, _, _ = README.read_text(encoding="utf-8").partition("```")
    assert caution.full in " ".join(before_commands.split())


@pytest.mark.parametrize("caution", CAUTIONS, ids=lambda caution: caution.short)
def test_its_short_form_fits_a_terminal(caution: Caution) -> None:
    assert 0 < len(f"• {caution.short}") <= 78


# One word that each caution cannot do without; a caution removed is a red test.
@pytest.mark.parametrize(
    "word",
    [
        "then take the hood off",
        "must not go in",
        "proves nothing",
        "certified respirator",
        "medical device",
        "protection factor",
        "carbon monoxide",
        "carbon dioxide",
        "half a minute",
        "gas and no vapour",
        "Local rules",
    ],
)
def test_nothing_is_left_out(word: str) -> None:
    assert any(word in caution.full for caution in CAUTIONS)
