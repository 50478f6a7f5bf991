"""What a second box takes of what comes in a station's name."""

import pytest

from linetender.annunciation.payloads import Alive, State, encode
from linetender.core.events import Sound
from linetender.core.stages import Stage
from linetender.far_end.heard import NOT_OF_A_STATION, decoded
from linetender.far_end.remote_watch import LONGEST_TEXT, shown_text

RUN = "0a1b2c3d"


def test_a_heartbeat_and_a_state_of_a_station() -> None:
    alive = Alive(RUN, 3, Stage.WORN, 4, Sound.HIGH)
    state = State(RUN, 3, "", True, Stage.WORN, {}, (), Sound.HIGH)
    assert decoded(encode(alive), Alive) == alive
    assert decoded(encode(state), State) == state


@pytest.mark.parametrize(
    ("run", "seq"),
    [("", 3), ("x" * 33, 3), ("a b", 3), ("a\n", 3), (RUN, -1), (RUN, 2**53 + 1)],
)
def test_what_the_station_would_not_read_again_is_refused(run: str, seq: int) -> None:
    with pytest.raises(NOT_OF_A_STATION):
        decoded(encode(Alive(run, seq, Stage.WORN, 4)), Alive)
    with pytest.raises(NOT_OF_A_STATION):
        decoded(encode(State(run, seq, "", True, Stage.WORN, {}, ())), State)


@pytest.mark.parametrize("payload", [b"", b"null", b"{}", b"\xff", b"[" * 5000])
def test_what_is_no_message_of_a_station(payload: bytes) -> None:
    with pytest.raises(NOT_OF_A_STATION):
        decoded(payload, Alive)


def test_a_text_cannot_command_the_terminal() -> None:
    assert shown_text("Leave.\x1b[2J\r\nAll is \u202ewell") == "Leave. [2J  All is  well"
    assert shown_text("Sauerstoff fällt") == "Sauerstoff fällt"
    assert len(shown_text("x" * 10_000)) == LONGEST_TEXT
