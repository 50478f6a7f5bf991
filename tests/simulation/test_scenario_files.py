"""What is wrong with a scenario file is said with file, line, key and remedy."""

from pathlib import Path

import pytest

from linetender.settings.problems import StationFileError
from linetender.settings.shipped import shipped
from linetender.simulation.scenario import load_scenario
from linetender.simulation.script import End, Order, Turn

GOOD = shipped("config/scenarios/fan_stop.toml").read_text(encoding="utf-8")


def test_a_good_one() -> None:
    scenario = load_scenario(shipped("config/scenarios/fan_stop.toml"))
    assert (scenario.name, scenario.hazard_s, scenario.station) == (
        "fan_stop",
        100.0,
        "wearer_side",
    )
    told = [step.action for step in scenario.script.steps]
    assert [type(action) for action in told] == [Turn, Turn, Order, Turn, End]


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ('set = "fan"', 'set = "fna"', "step[0].set"),
        ('set = "fan"', 'set = "fan"\npress = "answer"', "one deed was expected"),
        ("to = 0.0", "to = 2.0", "fan of 2.0 is outside 0 to 1"),
        ("at_s = 100.0", "at_s = 200.0", "within the scenario's 130 s"),
        ("hazard_s = 100.0\n", "", "hazard and hazard_s were expected together"),
        ('rule = "air_lost"', 'rule = "air_lost"\nsecondes = 3', "there is no such key here"),
        ("end_s = 130.0", "end_s = nan", "end_s"),
        ("end_s = 130.0", "end_s = 9.0", "at which the hood goes on"),
        ('station = "wearer_side"', 'station = "attic"', "station"),
        ("hazard_s = 100.0", 'hazard_s = 100.0\nunseen = "It is dark"', "nothing is expected of"),
        ("[[expect]]", "[[expected]]", "expected"),
    ],
)
def test_a_bad_one(before: str, after: str, said: str, tmp_path: Path) -> None:
    path = tmp_path / "bad.toml"
    assert before in GOOD
    path.write_text(GOOD.replace(before, after), encoding="utf-8")
    with pytest.raises(StationFileError) as raised:
        load_scenario(path)
    assert said in str(raised.value)
    assert str(path) in str(raised.value)
