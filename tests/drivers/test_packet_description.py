"""Descriptions of packets: the shipped ones hold, and each mistake is named."""

import re
from pathlib import Path

import pytest
from pydantic import ValidationError

from drivers.packet_files import FRAMED, PACKETS, PLAIN
from linetender_drivers.oximeter.packet_file import PacketFileError, load_packet_description
from linetender_drivers.oximeter.packet_spec import PacketOptions
from linetender_drivers.registry import Kind, find_spec

GOOD = """
name = "one"
service = "5b5b0001-0000-4000-8000-000000000000"
characteristic = "5b5b0002-0000-4000-8000-000000000000"
[frame]
length = 4
[fields.spo2_percent]
parts = [{ byte = 1 }]
invalid = [255]
[fields.pulse_rate_bpm]
parts = [{ byte = 2 }]
"""

# What is changed in GOOD, into what, and what is said of it.
MISTAKES = {
    "no TOML": ("[frame]", "[frame", r"is not TOML: .*line 5"),
    "unknown key": ("length = 4", "length = 4\nlenght = 5", r"frame\.lenght = 5: .*not permitted"),
    "missing": ('name = "one"', "", r"name: Field required"),
    "short UUID": ("5b5b0001-0000-4000-8000-000000000000", "1822", r"service = '1822'"),
    "upper case": ("5b5b0001", "5B5B0001", r"service = '5B5B0001"),
    "the standard service": (
        "5b5b0001-0000-4000-8000-000000000000",
        "00001822-0000-1000-8000-00805f9b34fb",
        r"use the driver plx_oximeter",
    ),
    "byte outside the frame": ("byte = 2", "byte = 4", r"byte 4 is used, .*bytes 0 to 3"),
    "byte of the checksum": (
        "length = 4",
        'length = 3\nchecksum = { kind = "sum8" }',
        r"byte 2 is used, .*bytes 0 to 1 \(the checksum is the last octet\)",
    ),
    "overlapping fields": (
        "byte = 2 }",
        "byte = 1, mask = 0x0f }",
        r"bit 0 of byte 1 is claimed by fields\.pulse_rate_bpm and fields\.spo2_percent",
    ),
    "field on sync": (
        "length = 4",
        "length = 4\nsync = [{ byte = 1, mask = 0x80, value = 0x80 }]",
        r"bit 7 of byte 1 is claimed by fields\.spo2_percent and frame\.sync",
    ),
    "parts on each other": (
        "[{ byte = 2 }]",
        "[{ byte = 2 }, { byte = 3, shift = 7 }]",
        r"two parts move to the same bits",
    ),
    "bits lost": ("[{ byte = 2 }]", "[{ byte = 2, shift = -1 }]", r"shift -1 loses bits"),
    "value outside the mask": (
        "length = 4",
        "length = 4\nsync = [{ byte = 0, mask = 0x0f, value = 0x1f }]",
        r"value 0x1f has bits outside mask 0x0f",
    ),
    "invalid that cannot be": ("[255]", "[256]", r"invalid \[256\] can never be sent"),
    "finger out is never told": ("invalid = [255]", "", r"nothing says that the finger is out"),
    "no SpO2": (
        "spo2_percent",
        "oximeter_battery_percent",
        r"fields\.spo2_percent: Field required",
    ),
    "not a number": ("[255]", "[255]\nscale = nan", r"fields\.spo2_percent\.scale = nan"),
    "text for a number": ("length = 4", 'length = "4"', r"frame\.length"),
    "unknown checksum": (
        "length = 4",
        'length = 4\nchecksum = { kind = "crc16" }',
        r"frame\.checksum\.kind = 'crc16': .*'none', 'sum8', 'xor8' or 'crc8'",
    ),
    "CRC without polynomial": (
        "length = 4",
        'length = 4\nchecksum = { kind = "crc8", init = 0 }',
        r"poly and init belong to crc8",
    ),
    "polynomial without CRC": (
        "length = 4",
        'length = 4\nchecksum = { kind = "xor8", poly = 7 }',
        r"poly and init belong to crc8",
    ),
    "start command": (
        "[frame]",
        '[start]\ncharacteristic = "5b5b0003-0000-4000-8000-000000000000"\noctets = "8"\n[frame]',
        r"start\.octets = '8'",
    ),
}


def written(folder: Path, text: str) -> Path:
    path = folder / "packets.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_example_that_mistakes_are_made_in_is_good(tmp_path: Path) -> None:
    assert load_packet_description(written(tmp_path, GOOD)).name == "one"


@pytest.mark.parametrize("mistake", MISTAKES)
def test_each_mistake_is_named_with_its_file(mistake: str, tmp_path: Path) -> None:
    old, new, said = MISTAKES[mistake]
    assert old in GOOD
    path = written(tmp_path, GOOD.replace(old, new, 1))
    with pytest.raises(PacketFileError) as error:
        load_packet_description(path)
    assert all(problem.startswith(f"{path}: ") for problem in error.value.problems)
    assert re.search(said, str(error.value))


def test_all_mistakes_of_a_file_are_told_at_once(tmp_path: Path) -> None:
    text = (
        GOOD.replace('"one"', '""').replace("byte = 1", "byte = -1").replace("length = 4", "x = 4")
    )
    with pytest.raises(PacketFileError) as error:
        load_packet_description(written(tmp_path, text))
    assert len(error.value.problems) >= 4


def test_a_file_that_is_not_there_or_not_text(tmp_path: Path) -> None:
    with pytest.raises(PacketFileError, match="cannot be read"):
        load_packet_description(tmp_path / "missing.toml")
    path = tmp_path / "binary.toml"
    path.write_bytes(b"\xff\xfe")
    with pytest.raises(PacketFileError, match="cannot be read"):
        load_packet_description(path)


def test_every_shipped_description_holds_and_says_that_it_is_invented() -> None:
    shipped = sorted(PACKETS.glob("*.toml"))
    assert shipped == [FRAMED, PLAIN]
    for path in shipped:
        assert load_packet_description(path).name.startswith("invented")
        assert "INVENTED layout, no maker's" in path.read_text(encoding="utf-8")


def test_the_options_check_the_description_and_offer_what_it_has() -> None:
    spec = find_spec("packet_oximeter")
    options = spec.options(address="c0:ff:ee:00:18:22", description=str(PLAIN))
    assert spec.kind is Kind.SENSOR
    assert spec.provides(options) == {
        "spo2_percent",
        "pulse_rate_bpm",
        "pulse_amplitude_index_percent",
    }
    with pytest.raises(ValidationError, match="cannot be read"):
        PacketOptions(address="only", description="/nowhere/packets.toml")
    with pytest.raises(ValidationError):
        PacketOptions(address="only", description="packets.toml")
    with pytest.raises(ValidationError):
        PacketOptions(address="simulated", description=str(PLAIN))
