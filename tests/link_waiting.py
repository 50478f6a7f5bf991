"""Wait until a link to a broker stands as a test expects."""

import threading
from collections.abc import Callable

import pytest

from linetender.runtime.broker_link import BrokerLink
from linetender.runtime.link_state import LinkState
from mosquitto_broker import PATIENCE_S


def wait_for(link: BrokerLink, holds: Callable[[LinkState], bool]) -> LinkState:
    """Wait until the link stands so, looking every few milliseconds."""
    pause = threading.Event()
    for _ in range(int(PATIENCE_S / 0.02)):
        if holds(state := link.state()):
            return state
        pause.wait(0.02)
    pytest.fail(f"the link stands otherwise: {link.state()}")
