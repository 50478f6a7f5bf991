"""The file of a second box that forwards, and what a station says of forwarded devices."""

from pathlib import Path

import pytest

from linetender.core.signals import Signal
from linetender.settings.forward_file import is_forward_file, load_forwarding
from linetender.settings.guarded_link import is_loopback
from linetender.settings.load import load_station
from linetender.settings.problems import StationFileError
from linetender.settings.shipped import shipped

FORWARD = """schema = 1
kind = "forward"
[forward]
box = "bench"
station = "shed"
[broker]
host = "127.0.0.1"
[devices.finger]
driver = "plx_oximeter"
signals = ["spo2_percent", "pulse_rate_bpm"]
options = { address = "simulated" }
"""
FORWARDED = """
[devices.finger]
driver = "forwarded"
from = "bench"
signals = ["spo2_percent", "pulse_rate_bpm"]
[broker]
host = "localhost"
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "bench.toml"
    path.write_text(text)
    return path


def test_a_fine_file(tmp_path: Path) -> None:
    path = written(tmp_path, FORWARD)
    assert is_forward_file(path)
    forwarding = load_forwarding(path)
    assert (forwarding.box, forwarding.station) == ("bench", "shed")
    assert forwarding.devices[0].signals == (Signal.SPO2_PERCENT, Signal.PULSE_RATE_BPM)


def test_the_shipped_example_and_the_station_of_its_comment_are_fine(tmp_path: Path) -> None:
    example = shipped("config/second_boxes/bench_forward.toml")
    forwarding = load_forwarding(example)
    comment = [
        line.removeprefix("#   ")
        for line in example.read_text(encoding="utf-8").splitlines()
        if line.startswith("#   ")
    ]
    broker = '\n[broker]\nhost = "192.0.2.10"\nport = 8883\ntls = true\n'
    station = load_station(station_with(tmp_path, broker + "\n".join(comment) + "\n"))
    (device,) = [each for each in station.devices if each.driver == "forwarded"]
    assert device.options.model_dump() == {"box": forwarding.box}
    assert device.signals == forwarding.devices[0].signals
    assert forwarding.station == station.plan.station


@pytest.mark.parametrize(
    ("old", "new", "line", "told"),
    [
        ('box = "bench"', 'box = "Bench"', 4, "box"),
        ('station = "shed"\n', "", 3, "station"),
        ('"127.0.0.1"', '"192.0.2.7"', 6, "need TLS, or a broker on this computer"),
        ('signals = ["spo2', 'signals = ["hood_co2_ppm", "spo2', 10, "hood_co2_ppm"),
        ('"plx_oximeter"', '"forwarded"', 8, "from is missing"),
        ("schema = 1", "schema = 2", 1, "schema"),
        ("[devices.finger]", "nonsense = 1\n[devices.finger]", 8, "nonsense"),
    ],
)
def test_what_is_wrong_is_told_with_its_line(
    old: str, new: str, line: int, told: str, tmp_path: Path
) -> None:
    assert old in FORWARD
    path = written(tmp_path, FORWARD.replace(old, new))
    with pytest.raises(StationFileError) as caught:
        load_forwarding(path)
    assert [(each.line, told in each.text) for each in caught.value.problems] == [(line, True)]


def test_outputs_and_a_signal_given_twice_are_told(tmp_path: Path) -> None:
    more = (
        '[devices.siren]\ndriver = "gpio_buzzer"\noutput = "buzzer"\n'
        'options = { gpio = 5 }\n[devices.other]\ndriver = "plx_oximeter"\n'
        'signals = ["spo2_percent"]\noptions = { address = "only" }\n'
    )
    with pytest.raises(StationFileError) as caught:
        load_forwarding(written(tmp_path, FORWARD + more))
    assert [each.key for each in caught.value.problems] == [
        "devices.siren.driver",
        "devices.other.signals[0]",
    ]


@pytest.mark.parametrize(
    ("host", "is_so"),
    [
        ("localhost", True),
        ("LOCALHOST.", True),
        ("127.0.0.1", True),
        ("127.9.9.9", True),
        ("::1", True),
        ("0.0.0.0", False),
        ("192.0.2.7", False),
        ("localhost.example", False),
        ("127.0.0.1.example", False),
    ],
)
def test_what_counts_as_this_computer(host: str, is_so: bool) -> None:
    assert is_loopback(host) is is_so


def station_with(folder: Path, forwarded: str) -> Path:
    text = shipped("config/wearer_side_minimal.toml").read_text(encoding="utf-8")
    path = folder / "shed.toml"
    path.write_text(text + forwarded, encoding="utf-8")
    return path


def test_a_station_takes_what_it_names(tmp_path: Path) -> None:
    station = load_station(station_with(tmp_path, FORWARDED))
    finger = next(device for device in station.devices if device.name == "finger")
    assert finger.driver == "forwarded"
    assert finger.options.model_dump() == {"box": "bench"}
    assert "spo2_low" in [rule.id for rule in station.plan.rules]
    assert station.shown["devices"]["finger"]["from"] == "bench"


@pytest.mark.parametrize(
    ("old", "new", "key", "told"),
    [
        ('from = "bench"\n', "", "devices.finger", "from is missing"),
        ('"bench"', '"Bench"', "devices.finger.from", "a-z"),
        ('[broker]\nhost = "localhost"', "", "devices.finger.driver", "[broker] is missing"),
        ('"localhost"', '"broker.example"', "broker.tls", "need TLS"),
        ('"pulse_rate_bpm"', '"airflow_l_min"', "devices.finger.signals[1]", "computed"),
        ('driver = "forwarded"', 'driver = "plx_oximeter"\noptions = { address = "only" }',
         "devices.finger.from", "only forwarded has from"),
        ('from = "bench"', 'from = "bench"\noptions = { period_s = 1 }',
         "devices.finger.options.period_s", "no such key"),
    ],
)  # fmt: skip
def test_a_station_says_what_is_wrong_with_a_forwarded_device(
    old: str, new: str, key: str, told: str, tmp_path: Path
) -> None:
    assert old in FORWARDED
    with pytest.raises(StationFileError) as caught:
        load_station(station_with(tmp_path, FORWARDED.replace(old, new)))
    assert [(each.key, told in each.text) for each in caught.value.problems] == [(key, True)]
