"""The commented station file that `init` writes from answers."""

import json
from collections.abc import Iterator, Mapping

from linetender.cli.init_questions import NONE, OPEN_HOOD, TEACH
from linetender.cli.init_sensors import Sensor, answered_options

HEADER = """\
# Written by `linetender init`. Every key, with unit and range: config/README.md.
# After a change: linetender lint FILE
"""


def station_text(
    answers: Mapping[str, str], sensor: Sensor, bus: str, chip: str | None, password_file: str
) -> str:
    """Return the file.

    Args:
        answers: As they were accepted.
        sensor: The one that was chosen.
        bus: Of that sensor.
        chip: Of the pins, where it is not the header.
        password_file: Name of the file with the broker's password.
    """
    parts = (
        _station(answers),
        _element(answers),
        _drawn(answers),
        _sensor(answers, sensor, bus),
        _pins(answers, chip),
        _others(answers, password_file),
    )
    return "\n".join([HEADER, "schema = 1", *(line for part in parts for line in part), ""])


def _is_set(answers: Mapping[str, str], name: str) -> bool:
    return answers.get(name, NONE) != NONE


def _station(answers: Mapping[str, str]) -> Iterator[str]:
    yield "\n[station]"
    yield f"id = {_toml(answers['id'])}"
    yield f"arrangement = {_toml(answers['arrangement'])}"
    yield f"exit_time_s = {answers['exit_time']}    # walked in full gear, with a stopwatch"
    if "required_airflow" in answers:
        yield f"required_airflow_l_min = {answers['required_airflow']}    # local rules go first"
    if "altitude" in answers:
        yield f"altitude_m = {answers['altitude']}"


def element_kind(answers: Mapping[str, str]) -> str:
    """Return what the pressure is measured across; unasked, hood and hose, or the duct."""
    unasked = "hood_hose" if answers["arrangement"] == "wearer_side" else "duct"
    return answers.get("element", unasked)


def _element(answers: Mapping[str, str]) -> Iterator[str]:
    yield "\n[element]    # what the pressure is measured across"
    yield f"kind = {_toml(element_kind(answers))}"
    if "orifice_bore" in answers:
        yield f"bore_mm = {answers['orifice_bore']}"
        yield f"pipe_mm = {answers['orifice_pipe']}"
    if answers["normal_pressure"] == TEACH:
        yield "# normal_pa is left out: `linetender calibrate FILE --teach` measures and keeps it."
    else:
        yield f"normal_pa = {answers['normal_pressure']}    # read while the line ran as in use"


def _drawn(answers: Mapping[str, str]) -> Iterator[str]:
    if answers.get("line") != "yes":
        return
    yield "\n# From here to [devices.air]: the line, for `linetender size`."
    yield f"\n[hood]\noutlet_cm2 = {answers['hood_gap']}    # gap around the neck"
    yield f"\n[fan]\nrated_airflow_l_min = {answers['fan_airflow']}"
    yield f"shut_off_pa = {answers['fan_pressure']}"
    for name in ("duct", "hose"):
        yield f'\n[[duct]]\nname = "{name}"\nlength_m = {answers[name + "_length"]}'
        yield f"diameter_mm = {answers[name + '_diameter']}"
        yield 'material = "flexible"    # or pvc_pipe, galvanized_spiral, drawn_tubing, film'
        yield f"quarter_bends = {answers['duct_bends'] if name == 'duct' else 1}"


def _sensor(answers: Mapping[str, str], sensor: Sensor, bus: str) -> Iterator[str]:
    at_hood = element_kind(answers) == "hood_hose"
    options = [f"bus = {_toml(bus)}"]
    if sensor.address is not None:
        options.append(f"address = 0x{sensor.address:02x}")
    more = {**sensor.options, **answered_options(answers)}
    options += [f"{key} = {_toml(value)}" for key, value in more.items()]
    yield "\n[devices.air]    # the pressure sensor"
    yield f"driver = {_toml(sensor.driver)}"
    yield f'signals = ["{"hood" if at_hood else "duct"}_pressure_pa"]'
    yield f"options = {{ {', '.join(options)} }}"


def _pins(answers: Mapping[str, str], chip: str | None) -> Iterator[str]:
    where = "" if chip is None else f"chip = {_toml(chip)}, "
    button = f"no_gpio = {answers['button_pin']}"
    if _is_set(answers, "button_nc_pin"):
        button += f", nc_gpio = {answers['button_nc_pin']}"
    rows = [
        ("answer", "gpio_button", "contact", "answer", button),
        ("siren", "gpio_buzzer", "output", "buzzer", f"gpio = {answers['siren_pin']}"),
        ("lamp", "gpio_lamp", "output", "lamp_green", f"gpio = {answers['lamp_pin']}"),
    ]
    for role in ("hook", "fan_mains", "co_alarm"):
        if _is_set(answers, f"{role}_pin"):
            gpio = f"gpio = {answers[role + '_pin']}"
            rows.append((role, "gpio_contact", "contact", role, gpio))
    for name, driver, kind, role, options in rows:
        yield f'\n[devices.{name}]\ndriver = "{driver}"\n{kind} = "{role}"'
        yield f"options = {{ {where}{options} }}"


def _others(answers: Mapping[str, str], password_file: str) -> Iterator[str]:
    if _is_set(answers, "oximeter"):
        yield '\n[devices.oximeter]\ndriver = "plx_oximeter"'
        yield 'signals = ["spo2_percent", "pulse_rate_bpm"]'
        yield f"options = {{ address = {_toml(answers['oximeter'])} }}"
    yield '\n[rules]\nbase = "default"'
    if _is_set(answers, "check_in"):
        yield "\n[check_in]    # asks for a press when no good pulse is seen"
        yield f"every_min = {answers['check_in']}"
    if answers.get("recording") == "yes":
        yield '\n[recording]\ndirectory = "sessions"'
    if _is_set(answers, "broker_host"):
        yield from _broker(answers, password_file)
    if OPEN_HOOD in answers:
        yield "\n[[exceptions]]    # the way out is longer than the air in a hood lasts"
        yield f'finding = "exit_time_over_budget"\nreason = {_toml(answers[OPEN_HOOD])}'


def _broker(answers: Mapping[str, str], password_file: str) -> Iterator[str]:
    tls = answers["broker_tls"] == "yes"
    host, port = host_and_port(answers["broker_host"], 8883 if tls else 1883)
    yield f"\n[broker]\nhost = {_toml(host)}\nport = {port}"
    yield f"tls = {_toml(tls)}\nuser = {_toml(answers['broker_user'])}"
    yield f"password_file = {_toml(password_file)}    # one line, for the daemon alone"
    if _is_set(answers, "contacts"):
        for name in answers["contacts"].split():
            yield f"\n[[contacts]]    # who is told of a LEAVE\nname = {_toml(name)}"
    if _is_set(answers, "second_boxes"):
        for box in answers["second_boxes"].split():
            name, _, role = box.partition(":")
            yield f"\n[[far_end]]    # a second box\nname = {_toml(name)}\nrole = {_toml(role)}"


def host_and_port(given: str, usual: int) -> tuple[str, int]:
    """Take a broker's host and port apart; an IPv6 address with a port stands in brackets."""
    host, colon, port = given.rpartition(":")
    if not colon or given.endswith("]"):
        host, port = given, str(usual)
    return host.removeprefix("[").removesuffix("]"), int(port)


def _toml(value: object) -> str:
    """Write text, a number or a truth value; JSON's escapes are TOML's too."""
    return json.dumps(value, ensure_ascii=False)
