"""The settings as they may be shown: without what is private to the station's owner."""

from typing import Any

from pydantic import BaseModel

from linetender.settings.station import Device
from linetender.settings.station_file import StationBroker
from linetender.settings.toml_file import TomlFile

LEFT_OUT = "left_out"
"""Key of the list of names that are not shown."""


def shown_settings(toml: TomlFile, devices: tuple[Device, ...]) -> dict[str, Any]:
    """Return the station file's data without private fields, whose names it lists.

    Private are fields marked `private` in their model's `json_schema_extra`, and the
    radio address of a device, which can name a person's own oximeter.
    """
    shown: dict[str, Any] = {**toml.data}
    left_out: list[str] = []
    if "broker" in shown:
        private = private_fields(StationBroker)
        shown["broker"] = _without(shown["broker"], private, "broker", left_out)
    shown["devices"] = dict(shown["devices"])
    for device in devices:
        table = dict(shown["devices"][device.name])
        private = private_fields(type(device.options)) | _radio_address(device)
        where = f"devices.{device.name}.options"
        if "options" in table:
            table["options"] = _without(table["options"], private, where, left_out)
        shown["devices"][device.name] = table
    shown[LEFT_OUT] = left_out
    return shown


def private_fields(model: type[BaseModel]) -> frozenset[str]:
    """Return the names of a model's fields that are marked private."""
    return frozenset(
        name
        for name, field in model.model_fields.items()
        if isinstance(field.json_schema_extra, dict) and field.json_schema_extra.get("private")
    )


def _radio_address(device: Device) -> frozenset[str]:
    address = getattr(device.options, "address", None)
    is_radio = isinstance(address, str) and not device.options.is_simulated
    return frozenset({"address"}) if is_radio else frozenset()


def _without(
    table: dict[str, Any], private: frozenset[str], where: str, left_out: list[str]
) -> dict[str, Any]:
    left_out += [f"{where}.{key}" for key in table if key in private]
    return {key: value for key, value in table.items() if key not in private}
