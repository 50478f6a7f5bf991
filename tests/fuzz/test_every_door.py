"""Whatever comes in at a door is taken, or refused by the error that the door promises.

Here with Hypothesis; `campaign.py` beside it throws for minutes, guided by coverage.
"""

import logging
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fuzz.door import Door
from fuzz.doors import DOORS


@pytest.fixture(autouse=True, scope="module")
def _quiet() -> Iterator[None]:
    """Log nothing: there is much to be said of such bytes."""
    logging.disable(logging.CRITICAL)
    yield
    logging.disable(logging.NOTSET)


every_door = pytest.mark.parametrize("door", DOORS, ids=lambda door: door.name)


@st.composite
def _altered(draw: st.DrawFn, door: Door) -> bytes:
    """Draw a seed with a few pieces cut out, doubled or put in."""
    data = draw(st.sampled_from(door.seeds))
    pieces = st.binary(max_size=6)
    if door.words:
        pieces |= st.sampled_from(door.words)
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(data)))
        end = min(len(data), start + draw(st.integers(0, 16)))
        data = data[:start] + draw(pieces) + data[end:]
    return data


@every_door
def test_what_the_door_is_made_for_is_taken(door: Door) -> None:
    for seed in door.seeds:
        door.take(seed)


@every_door
@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_altered_and_random_bytes(door: Door, data: st.DataObject) -> None:
    door.take(data.draw(_altered(door) | st.binary(max_size=64)))
