"""For how long nothing was watched before a restart, in words."""

import pytest

from linetender.core.session import blind_words

MS = 1_000_000
BLIND = [
    (None, "an unknown time"),
    (0, "at most 0 s"),
    (1, "at most 1 s"),
    (3400 * MS, "at most 4 s"),  # never less than it can have been
    (4000 * MS, "at most 4 s"),
    (63_001 * MS, "at most 64 s"),
]


@pytest.mark.parametrize(("blind_ns", "said"), BLIND)
def test_a_blind_time_is_told_as_the_most_that_it_can_have_been(
    blind_ns: int | None, said: str
) -> None:
    assert blind_words(blind_ns) == said
