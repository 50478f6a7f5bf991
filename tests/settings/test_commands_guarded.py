"""Commands over the broker are refused in a file that would not guard them."""

from pathlib import Path

import pytest

from linetender.settings.load import load_station
from linetender.settings.problems import StationFileError
from linetender.settings.shipped import shipped

MINIMAL = shipped("config/wearer_side_minimal.toml").read_text(encoding="utf-8")
GUARDED = 'host = "192.0.2.1"\ntls = true\nuser = "shed"\npassword_file = "secret"\n'


def rules(broker: str, folder: Path) -> list[str]:
    file = folder / "station.toml"
    file.write_text(f"{MINIMAL}\n[broker]\n{broker}", encoding="utf-8")
    return [rule.id for rule in load_station(file).plan.rules]


def test_the_rule_about_unguarded_commands_exists_only_where_they_are_wanted(
    tmp_path: Path,
) -> None:
    without = rules(GUARDED, tmp_path)
    assert rules(f"{GUARDED}commands = true\n", tmp_path) == [*without, "commands_unguarded"]


@pytest.mark.parametrize(
    ("left_out", "key"),
    [
        ("tls = true\n", "broker.tls"),
        ('user = "shed"\n', "broker.commands"),
        ('password_file = "secret"\n', "broker.commands"),
    ],
)
def test_each_part_of_the_guard_is_needed(left_out: str, key: str, tmp_path: Path) -> None:
    with pytest.raises(StationFileError) as caught:
        rules(f"{GUARDED.replace(left_out, '')}commands = true\n", tmp_path)
    assert [problem.key for problem in caught.value.problems] == [key]
