"""What home automation is told of the example stations, and what becomes of old parts.

Required fields are those of the public documentation of MQTT discovery, device form:
`dev` (with `ids`), `o` (with `name`), `cmps`; per component `p` and `uniq_id`; a sensor and
a binary sensor need `stat_t`.
"""

import json
from typing import Any

import pytest

from linetender.annunciation.payloads import Wall, state_payload
from linetender.core.signals import Signal
from linetender.core.watch import Watch
from linetender.runtime.announcer import Announcer, wanted_by_announcer
from linetender.runtime.incoming import Received
from linetender.settings.load import load_station
from linetender.settings.shipped import shipped

NAMES = ("demo", "fan_side_orifice", "wearer_side_calibrated", "wearer_side_minimal")


class Told:
    """An announcer, and what it published."""

    def __init__(self, name: str = "demo") -> None:
        self.plan = load_station(shipped(f"config/{name}.toml")).plan
        self.view = Watch(self.plan, 0).snapshot()
        self.signals = tuple(view.signal for view in self.view.signals)
        self.sent: list[dict[str, Any]] = []
        self.announcer = Announcer(self.plan, self.signals, "ha", self._publish)
        self.config = f"ha/device/linetender_{self.plan.station}/config"

    def _publish(self, topic: str, payload: bytes, *, qos: int, retain: bool, **_: Any) -> None:
        assert (topic, qos, retain) == (f"ha/device/linetender_{self.plan.station}/config", 1, True)
        self.sent.append(json.loads(payload))

    def hear(self, topic: str, payload: object) -> bool:
        text = payload if isinstance(payload, bytes) else json.dumps(payload).encode()
        return self.announcer.take(Received(topic, text, True))


@pytest.mark.parametrize("name", NAMES)
def test_an_announcement_has_all_that_is_required(name: str) -> None:
    told = Told(name)
    (message,) = told.sent
    assert message["dev"]["ids"] == [f"linetender_{told.plan.station}"]
    assert message["o"]["name"] == "linetender"
    assert message["avty_t"] == f"linetender/{told.plan.station}/online"
    parts = message["cmps"]
    assert {part["p"] for part in parts.values()} == {"sensor", "binary_sensor"}
    assert all(part["stat_t"] and part["name"] for part in parts.values())
    assert len({part["uniq_id"] for part in parts.values()}) == len(parts)
    alarms = {key for key in parts if key.startswith("alarm_")}
    assert alarms == {f"alarm_{rule.id}" for rule in told.plan.rules}
    assert set(parts) - alarms == {"stage", *told.signals}
    assert not any("cmd_t" in part for part in parts.values())


def test_every_signal_has_a_unit_and_a_place_in_the_state() -> None:
    plan = load_station(shipped("config/demo.toml")).plan
    sent: list[dict[str, Any]] = []
    Announcer(plan, tuple(Signal), "ha", lambda _t, p, **_: sent.append(json.loads(p)))
    for signal in Signal:
        part = sent[0]["cmps"][signal.value]
        assert part["unit_of_meas"]
        assert part["exp_aft"] == 30
        assert part["val_tpl"] == f"{{{{ value_json.signals.{signal.value}.value }}}}"
    told = Told()
    state = state_payload("0a1b2c3d", 1, Wall("", True), told.view, told.plan)
    assert tuple(state.signals) == told.signals


def test_it_is_said_again_when_the_hub_has_started() -> None:
    told = Told()
    assert told.hear("ha/status", b"offline")
    assert told.hear("ha/status", b"online")
    assert not told.hear("linetender/demo/far/bench/press", b"")
    assert told.sent == [told.sent[0]] * 2


def test_a_part_that_is_gone_is_removed_once_and_then_left_out() -> None:
    told = Told()
    own = told.sent.pop()
    older = {**own, "cmps": {**own["cmps"], "alarm_gone": {"p": "binary_sensor", "name": "Gone"}}}
    told.hear(told.config, older)
    (removing,) = told.sent
    assert removing == {**own, "cmps": {**own["cmps"], "alarm_gone": {"p": "binary_sensor"}}}
    told.hear(told.config, removing)
    assert told.sent[1:] == [own]
    told.hear(told.config, own)
    assert len(told.sent) == 2


@pytest.mark.parametrize("payload", [b"", b"\xff", b"[]", b'{"cmps": 3}', b"[" * 2000])
def test_what_is_no_announcement_is_passed_over(payload: bytes) -> None:
    told = Told()
    assert told.hear(told.config, payload)
    assert len(told.sent) == 1


def test_it_subscribes_to_the_hub_and_to_its_own_announcement() -> None:
    assert [(one.filter, one.kept) for one in wanted_by_announcer("ha", "shed")] == [
        ("ha/status", True),
        ("ha/device/linetender_shed/config", True),
    ]
