"""The shipped broker configuration is taken by a real broker, and keeps to the topics."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from mosquitto_broker import MosquittoBroker

SAMPLES = Path(__file__).resolve().parents[2] / "config" / "broker"
PASSWORD = "an invented one"

DEBIANS = "persistence true\npersistence_location /var/lib/mosquitto/\n"
"""What Debian's own mosquitto.conf says before it reads ours (package mosquitto 2.0.11-1.2);
a broker refuses a key that is said twice."""

pytestmark = pytest.mark.broker


@pytest.fixture
def shipped(tmp_path: Path) -> Iterator[MosquittoBroker]:
    """The sample as it is, but for the paths and the port of this test."""
    lines = (SAMPLES / "mosquitto.conf").read_text(encoding="utf-8").splitlines(keepends=True)
    text = DEBIANS + "".join(line for line in lines if not line.startswith("listener "))
    access = (SAMPLES / "acl").read_text(encoding="utf-8")
    (tmp_path / "linetender.acl").write_text(access)
    text = text.replace("/etc/mosquitto", str(tmp_path))
    text = text.replace("/var/lib/mosquitto/", f"{tmp_path}/")
    broker = MosquittoBroker(tmp_path, text, users=("shed", "bench", "phone", "stranger"))
    broker.start()
    yield broker
    broker.stop()


@pytest.mark.parametrize(
    ("user", "topic", "is_let_through"),
    [
        ("shed", "linetender/shed/online", True),
        ("shed", "linetender/shed/alarm/air_lost", True),
        ("shed", "linetender/shed/say", True),
        ("shed", "linetender/other/say", False),
        ("shed", "linetender/shed/command/_self", False),
        ("bench", "linetender/shed/far/bench/confirm", True),
        ("bench", "linetender/shed/far/other/confirm", False),
        ("bench", "linetender/shed/state", False),
        ("phone", "linetender/shed/say", False),
        ("phone", "linetender/shed/command/phone", True),
        ("phone", "linetender/shed/command/bench", False),
        ("stranger", "linetender/shed/say", False),
    ],
)
def test_who_may_write_what(
    shipped: MosquittoBroker, user: str, topic: str, is_let_through: bool
) -> None:
    told = shipped.publish(topic, "x", login=(user, PASSWORD))
    assert ("Not authorized" not in told) is is_let_through
