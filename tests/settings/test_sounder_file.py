"""The file of a second box: what is refused, where, and the manual."""

import re
from pathlib import Path

import pytest

from linetender.settings.problems import StationFileError
from linetender.settings.shipped import shipped
from linetender.settings.sounder_file import SounderFile, is_sounder_file, load_sounder

EXAMPLE = shipped("config/second_boxes/bench.toml")
TEXT = EXAMPLE.read_text(encoding="utf-8")
BUTTON = TEXT[TEXT.index("[devices.answer]") :]
SIREN = TEXT[TEXT.index("[devices.siren]") : TEXT.index("[devices.alive]")]


def test_the_example_is_fine() -> None:
    sounder = load_sounder(EXAMPLE)
    assert (sounder.name, sounder.broker.host) == ("bench", "192.0.2.10")
    assert [(one.id, one.role) for one in sounder.stations] == [("shed", "wearer")]
    assert [device.name for device in sounder.devices] == ["siren", "alive", "answer"]
    assert is_sounder_file(EXAMPLE)
    assert not is_sounder_file(shipped("config/demo.toml"))
    assert not is_sounder_file(Path("/no/such/file"))


MISTAKES = [
    ('role = "wearer"', 'role = "boss"', "stations[0].role", "attendant"),
    ('id = "shed"', 'id = "Shed"', "stations[0].id", "a-z"),
    ('name = "bench"', 'nome = "bench"', "box", "name"),
    ('kind = "sounder"', "", "", "kind"),
    ("[[stations]]", "[[station]]", "", "stations"),
    ("gpio = 22", "gpio = 99", "devices.siren.options.gpio", "27"),
    (BUTTON, "", "devices", 'contact = "answer"'),
    (SIREN, "", "devices", 'output = "buzzer"'),
    ('contact = "answer"', 'contact = "hook"', "devices.answer", "one button"),
    (
        "[devices.siren]",
        '[[stations]]\nid = "shed"\nrole = "attendant"\n[devices.siren]',
        "stations[1].id",
        "once",
    ),
    (
        "[devices.siren]",
        '[[stations]]\nid = "barn"\nrole = "wearer"\n[devices.siren]',
        "stations[1].role",
        "one wearer",
    ),
]


@pytest.mark.parametrize(("old", "new", "key", "word"), MISTAKES)
def test_a_mistake_is_told_with_its_key(
    old: str, new: str, key: str, word: str, tmp_path: Path
) -> None:
    assert old in TEXT
    file = tmp_path / "bench.toml"
    file.write_text(TEXT.replace(old, new), encoding="utf-8")
    with pytest.raises(StationFileError) as caught:
        load_sounder(file)
    told = [(problem.key, f"{problem.expected} {problem.key}") for problem in caught.value.problems]
    assert [one for one in told if one[0].startswith(key) and word in one[1]], told


def test_a_terminal_needs_no_devices(tmp_path: Path) -> None:
    file = tmp_path / "laptop.toml"
    file.write_text(TEXT[: TEXT.index("[devices.siren]")], encoding="utf-8")
    assert load_sounder(file, terminal=True).devices == ()
    with pytest.raises(StationFileError):
        load_sounder(file)


def test_every_key_is_in_the_manual() -> None:
    manual = shipped("config/README.md").read_text(encoding="utf-8")
    part = manual[manual.index("## The file of a second box") :]
    words = set(re.findall(r"\w+", " ".join(part.split("`")[1::2])))
    models = [SounderFile, *(field.annotation for field in SounderFile.model_fields.values())]
    assert "stations" in words
    keys = {"schema", "kind", "box", "broker", "stations", "devices", "name", "id", "role"}
    assert {field.alias or name for name, field in models[0].model_fields.items()} <= keys
    assert keys - words == set()
