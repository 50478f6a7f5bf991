"""Station files for tests; the shop and its numbers are invented."""

from pathlib import Path

from linetender.settings.load import load_station
from linetender.settings.problems import Problem, StationFileError
from linetender.settings.station import Station

STATION = """\
schema = 1
[station]
id = "shed"
arrangement = "wearer_side"
exit_time_s = 7
"""

ELEMENT = """\
[element]
kind = "hood_hose"
normal_pa = 60
"""

AIR = """\
[devices.air]
driver = "sdp8xx"
signals = ["hood_pressure_pa"]
options = { bus = "simulated", address = 0x25 }
"""

OXIMETER = """\
[devices.oximeter]
driver = "plx_oximeter"
signals = ["spo2_percent", "pulse_rate_bpm"]
options = { address = "simulated" }
"""

ANSWER = """\
[devices.answer]
driver = "gpio_button"
contact = "answer"
options = { chip = "simulated", no_gpio = 17, nc_gpio = 27 }
"""

SIREN = """\
[devices.siren]
driver = "gpio_buzzer"
output = "buzzer"
options = { chip = "simulated", gpio = 22 }
"""

HANDS = ANSWER + SIREN
"""What every station needs beside its sensors."""

WHOLE = STATION + ELEMENT + AIR + HANDS
"""A small station that is fit to run."""


def load(folder: Path, text: str) -> Station:
    """Write a station file and load it."""
    path = folder / "shed.toml"
    path.write_text(text, encoding="utf-8")
    return load_station(path)


def refusal(folder: Path, text: str) -> tuple[Problem, ...]:
    """Write a station file that must be refused, and return why."""
    try:
        load(folder, text)
    except StationFileError as error:
        return error.problems
    raise AssertionError("the station file was not refused")
