"""What home automation is told of a station: the device form of MQTT discovery.

One retained message holds the device and all its parts. Source: the public
documentation of MQTT discovery of the home-automation hub that defined it: `dev` and `o`
are mandatory, `cmps` holds the components, each with `p` (its platform) and a
`unique_id`; one with `p` alone is removed. There are no buttons: nothing can be ended
from there.
"""

from typing import Any

import msgspec

from linetender.annunciation.topics import OFFLINE, ONLINE, Topics
from linetender.annunciation.words import matter, sentence
from linetender.core.alarm_table import AlarmState
from linetender.core.plan import Plan
from linetender.core.signals import Signal

EXPIRE_AFTER_S = 30
"""A reading older than this is shown as unknown: the state comes each 10 s at least."""

_ON = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED, AlarmState.LATCHED)
_UNITS = {
    "_percent_of_baseline": "%",
    "_l_min": "L/min",
    "_percent": "%",
    "_ppm": "ppm",
    "_bpm": "bpm",
    "_rpm": "rpm",
    "_pa": "Pa",
    "_c": "°C",
    "_a": "A",
    "_v": "V",
}
"""By how a signal's name ends."""


def device_id(station: str) -> str:
    """Return what the device is called there."""
    return f"linetender_{station}"


def config_topic(prefix: str, station: str) -> str:
    """Return where the device is announced."""
    return f"{prefix}/device/{device_id(station)}/config"


def status_topic(prefix: str) -> str:
    """Return where the hub says that it has started."""
    return f"{prefix}/status"


def announcement(plan: Plan, signals: tuple[Signal, ...], removed: dict[str, str]) -> bytes:
    """Return the message that announces a station.

    Args:
        plan: The station.
        signals: What it measures or derives.
        removed: Platform of each component that an earlier announcement had and this
            one has not.
    """
    topics = Topics(plan.station)
    components = {name: {"p": platform} for name, platform in removed.items()}
    message = {
        "dev": {"ids": [device_id(plan.station)], "name": f"Air line {plan.station}"},
        "o": {"name": "linetender"},
        "avty_t": topics.online,
        "pl_avail": ONLINE.decode(),
        "pl_not_avail": OFFLINE.decode(),
        "qos": 1,
        "cmps": components | _components(plan, signals, topics),
    }
    return msgspec.json.encode(message)


def components_of(payload: bytes) -> dict[str, dict[str, Any]]:
    """Return the components of an earlier announcement; none of what is no announcement."""
    try:
        message = msgspec.json.decode(payload, type=_Announced)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return {}
    return message.cmps


class _Announced(msgspec.Struct, frozen=True):
    cmps: dict[str, dict[str, Any]]


def _components(
    plan: Plan, signals: tuple[Signal, ...], topics: Topics
) -> dict[str, dict[str, Any]]:
    made: dict[str, dict[str, Any]] = {
        "stage": {
            "p": "sensor",
            "name": "Stage of use",
            "stat_t": topics.state,
            "val_tpl": "{{ value_json.stage }}",
        }
    }
    states = [state.value for state in _ON]
    for rule in plan.rules:
        made[f"alarm_{rule.id}"] = {
            "p": "binary_sensor",
            "name": matter(sentence(plan, rule.id)),
            "stat_t": topics.alarm(rule.id),
            "val_tpl": f"{{{{ 'ON' if value_json.state in {states} else 'OFF' }}}}",
            "dev_cla": "problem" if rule.technical else "safety",
        }
    for signal in signals:
        ending = next(one for one in _UNITS if signal.value.endswith(one))
        made[signal.value] = {
            "p": "sensor",
            "name": signal.value.removesuffix(ending).replace("_", " ").capitalize(),
            "stat_t": topics.state,
            "val_tpl": f"{{{{ value_json.signals.{signal.value}.value }}}}",
            "unit_of_meas": _UNITS[ending],
            "exp_aft": EXPIRE_AFTER_S,
        }
    for name, component in made.items():
        component["uniq_id"] = f"{device_id(plan.station)}_{name}"
    return made
