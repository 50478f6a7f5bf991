"""The manual in config/ names every topic, and the schema of what is sent there."""

import inspect
import re

from linetender.annunciation.schemas import SHAPES
from linetender.annunciation.topics import Topics
from linetender.settings.shipped import shipped

MANUAL = shipped("config/README.md").read_text(encoding="utf-8")
_, _, SECTION = MANUAL.partition("### Topics and payloads")
ROWS = re.findall(
    r"^\| `([^`]+)` \| (.*?) \| (.*?) \|$", SECTION.partition("\n### ")[0], re.MULTILINE
)

LEVELS = {"rule": "RULE", "name": "NAME", "box": "BOX", "user": "USER"}
"""How the manual writes the parameters of a topic."""


def topics() -> set[str]:
    """Return all topics of a station below its own level, written as the manual does."""
    station = Topics("shed")
    found = set()
    for name, member in inspect.getmembers(Topics):
        if name.startswith(("any_", "forbidden_", "_")) or name == "sender":
            continue
        if isinstance(member, property):
            found.add(getattr(station, name))
        elif inspect.isfunction(member):
            (parameter,) = list(inspect.signature(member).parameters)[1:]
            found.add(getattr(station, name)(LEVELS[parameter]))
    return {topic.removeprefix("linetender/shed/") for topic in found}


def test_the_manual_names_every_topic() -> None:
    assert {topic for topic, _, _ in ROWS} == topics()


def test_the_manual_names_the_schema_of_each_payload() -> None:
    named = {
        found[1]: topic
        for topic, _, payload in ROWS
        if (found := re.search(r"mqtt/(\w+)\.schema\.json", payload))
    }
    assert named == {name: topic for name, (topic, _) in SHAPES.items()}
