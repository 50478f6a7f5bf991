"""`lint` on packet descriptions, tried on octets in the layout of the shipped examples."""

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from drivers.packet_files import FINGER_OUT, FRAMED, LOW_SIGNAL, PLAIN, framed_frame
from linetender.cli.exit_codes import ExitCode
from linetender.cli.main import app
from linetender.settings.shipped import shipped

MINIMAL = shipped("config/wearer_side_minimal.toml")
OTHER_KIND = framed_frame(1, 2, kind=2)


def _lint(*arguments: object) -> Result:
    return CliRunner().invoke(app, ["lint", *map(str, arguments)], env={"COLUMNS": "80"})


def heard(folder: Path, *notifications: bytes) -> Path:
    path = folder / "heard.jsonl"
    lines = [
        json.dumps({"t_ms": 1000 * place, "hex": octets.hex()}) + "\n"
        for place, octets in enumerate(notifications)
    ]
    path.write_text("".join(lines))
    return path


@pytest.mark.parametrize("path", [FRAMED, PLAIN])
def test_an_example_is_recognised_and_fine(path: Path) -> None:
    result = _lint(path)
    assert result.exit_code == ExitCode.FINE
    assert "fine. It describes spo2_percent" in result.output.replace("\n  ", " ")
    assert json.loads(_lint(path, "--json").output)["fine"] is True


def test_what_was_heard_is_decoded_frame_by_frame(tmp_path: Path) -> None:
    first, second = framed_frame(97, 60), framed_frame(96, 200, flags=LOW_SIGNAL)
    out = framed_frame(255, 255, flags=FINGER_OUT)
    file = heard(tmp_path, b"\x00" + first, second[:4], second[4:] + OTHER_KIND, out)
    result = _lint(FRAMED, "--against", file)
    assert result.exit_code == ExitCode.FINE
    assert max(map(len, result.output.splitlines())) <= 80
    told = " ".join(result.output.split())
    assert told.startswith(
        "0.00 spo2_percent 97 pulse_rate_bpm 60 oximeter_battery_percent 66.6 "
        "2.00 spo2_percent 96 (poor_signal) pulse_rate_bpm 200 (poor_signal) "
        "oximeter_battery_percent 66.6 "
        "3.00 spo2_percent finger_out pulse_rate_bpm finger_out oximeter_battery_percent 66.6 "
    )
    assert "3 frames with the fields, 1 of another kind, 0 that do not fit" in told
    assert "1 of 37 octets are in no frame" in told
    assert "these never changed: 0-3." in told
    assert "nothing of" not in told


def test_what_does_not_fit_and_what_is_not_described_is_told(tmp_path: Path) -> None:
    good = framed_frame(97, 60)
    wrong = framed_frame(96, 61)[:-1] + b"\x00"
    strange = framed_frame(97, 60, flags=0x80)
    result = _lint(FRAMED, "--against", heard(tmp_path, good, wrong, strange))
    assert result.exit_code == ExitCode.FINDINGS
    told = " ".join(result.output.split())
    assert "1.00 does not fit: the description: its crc8 does not match" in told
    assert "2 frames with the fields, 0 of another kind, 1 that do not fit" in told
    assert "9 of 27 octets are in no frame" in told
    assert "never changed: 0-3, 5-7." in told
    assert "bits changed that the description says nothing of, in: 4." in told


def test_for_programs(tmp_path: Path) -> None:
    file = heard(tmp_path, bytes.fromhex("00ca033c1900"), b"\x00")
    result = _lint(PLAIN, "--against", file, "--json")
    assert result.exit_code == ExitCode.FINDINGS
    outcome = json.loads(result.output)
    assert [one["value"] for one in outcome["frames"][0]["made"]] == [97.0, 60.0, 2.5]
    assert [each["t_ms"] for each in outcome["misfits"]] == [1000]
    assert outcome["by_length"] == [
        {
            "length": 6,
            "frames": 1,
            "never_changed": [0, 1, 2, 3, 4, 5],
            "changed_undescribed": [],
        }
    ]


def test_nothing_heard_is_a_finding(tmp_path: Path) -> None:
    assert _lint(FRAMED, "--against", heard(tmp_path)).exit_code == ExitCode.FINDINGS


@pytest.mark.parametrize(
    "line", ["{", '{"t_ms": 1}', '{"t_ms": -1, "hex": ""}', '{"t_ms": 1, "hex": "abc"}', "\xff"]
)
def test_a_bad_line_is_named(tmp_path: Path, line: str) -> None:
    file = heard(tmp_path, b"\x00")
    file.write_bytes(file.read_bytes() + line.encode("latin-1") + b"\n")
    for mode in ([], ["--json"]):
        result = _lint(FRAMED, "--against", file, *mode)
        assert result.exit_code == ExitCode.BAD_FILE
        assert "heard.jsonl:2" in result.output


def test_a_missing_file_of_octets_is_named(tmp_path: Path) -> None:
    result = _lint(FRAMED, "--against", tmp_path / "none.jsonl")
    assert result.exit_code == ExitCode.BAD_FILE
    assert "none.jsonl: cannot be read" in result.output


def test_a_wrong_description_is_a_bad_file(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(FRAMED.read_text().replace("byte = 5", "byte = 3"))
    result = _lint(path)
    assert result.exit_code == ExitCode.BAD_FILE
    assert "is claimed by fields.spo2_percent and frame.carries" in result.output


def test_a_station_file_has_nothing_to_decode(tmp_path: Path) -> None:
    result = _lint(MINIMAL, "--against", heard(tmp_path, b"\x00"))
    assert result.exit_code == ExitCode.USAGE
