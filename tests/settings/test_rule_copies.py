"""Rules that a station has once for each of its parts, or not at all."""

from pathlib import Path

import pytest

from linetender.core.plan import OnFact
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped

BROKER = '\n[broker]\nhost = "192.0.2.1"\n'
OF_BROKER = ["delivery_unconfirmed", "delivery_refused", "broker_lost"]


def of_equipment(name: str, folder: Path, more: str = "") -> dict[str, str]:
    """Return what the rules about broker and devices say, by their ids."""
    file = folder / "station.toml"
    file.write_text(shipped(f"config/{name}.toml").read_text(encoding="utf-8") + more)
    begins = ("delivery_", "broker_", "output_failed", "device_failed")
    rules = load_station(file).plan.rules
    return {rule.id: rule.say for rule in rules if rule.id.startswith(begins)}


@pytest.mark.parametrize(
    ("name", "devices"),
    [
        ("wearer_side_minimal", ["output_failed_siren", "output_failed_lamp"]),
        (
            "wearer_side_calibrated",
            [
                "output_failed_siren",
                "output_failed_lamp",
                "device_failed_hook",
                "device_failed_co_alarm",
            ],
        ),
    ],
)
def test_one_rule_for_each_device_of_which_no_other_rule_tells(
    name: str, devices: list[str], tmp_path: Path
) -> None:
    assert list(of_equipment(name, tmp_path)) == devices
    assert list(of_equipment(name, tmp_path, BROKER)) == [*OF_BROKER, *devices]


def test_the_rule_asks_for_its_own_device_and_names_it(tmp_path: Path) -> None:
    said = of_equipment("wearer_side_minimal", tmp_path)
    assert said["output_failed_siren"] == ("The output siren cannot be driven. Look at its wiring.")
    plan = load_station(tmp_path / "station.toml").plan
    rule = next(rule for rule in plan.rules if rule.id == "output_failed_siren")
    assert rule.condition == OnFact("device_failed", "siren")
