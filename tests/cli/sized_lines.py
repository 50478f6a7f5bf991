"""Lines for the verb `size`, and how tests run it."""

import json
from pathlib import Path
from typing import Any

from typer.testing import CliRunner, Result

from linetender.cli.main import app

STATION = """\
schema = 1
[station]
id = "shed"
arrangement = "wearer_side"
exit_time_s = 7
altitude_m = 0
[element]
kind = "hood_hose"
normal_pa = 60
[devices.air]
driver = "sdp8xx"
signals = ["hood_pressure_pa"]
options = { bus = "simulated", address = 0x25 }
[devices.answer]
driver = "gpio_button"
contact = "answer"
options = { chip = "simulated", no_gpio = 17, nc_gpio = 27 }
[devices.siren]
driver = "gpio_buzzer"
output = "buzzer"
options = { chip = "simulated", gpio = 22 }
"""

HOSE = """\
[[duct]]
length_m = 6
diameter_mm = 100
material = "film"
[[duct]]
length_m = 1.5
diameter_mm = 40
material = "flexible"
"""


def sized(*arguments: str, state: Path) -> Result:
    command = ["size", *arguments, "--state", str(state)]
    return CliRunner().invoke(app, command, env={"COLUMNS": "80"})


def written(folder: Path, text: str) -> str:
    path = folder / "shed.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def forecast(folder: Path, text: str) -> dict[str, Any]:
    return json.loads(sized(written(folder, text), "--json", state=folder).stdout)
