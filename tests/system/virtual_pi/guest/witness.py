"""What can be seen from outside the daemon: pins, broker, service manager."""

import json
import time
from pathlib import Path
from threading import Lock
from typing import Any

import paho.mqtt.client as mqtt
from checks import sh

HOST = Path("/mnt/host")
LEVELS = Path("/run/pins")
EDGES = HOST / "edges"
"""In the host's folder: it outlives the guest."""

SIREN, LIFE, LAMP = 12, 5, 13
UNIT = "linetender@shed.service"
RECORDINGS = Path("/var/lib/linetender/shed/recordings")
NORMAL_PA = 85.0


class Witness:
    """An MQTT client of another connection, and readers of pins and units."""

    def __init__(self, station: str) -> None:
        self._lock = Lock()
        self._retained: dict[str, Any] = {}
        self.online: list[str] = []
        self.events: list[dict[str, Any]] = []
        self._prefix = f"linetender/{station}/"
        client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="witness")
        client.on_connect = lambda client, *_: client.subscribe(f"{self._prefix}#", 1)
        client.on_message = lambda _client, _data, message: self._hear(message)
        client.reconnect_delay_set(1, 1)
        client.connect("127.0.0.1")
        client.loop_start()

    def _hear(self, message: mqtt.MQTTMessage) -> None:
        topic = message.topic.removeprefix(self._prefix)
        text = message.payload.decode()
        with self._lock:
            if topic == "online":
                self.online.append(text)
            elif topic == "event":
                self.events.append(json.loads(text))
            elif topic == "state" or topic.startswith("alarm/"):
                self._retained[topic] = json.loads(text) if text else None
                self._retained[f"{topic} at"] = time.monotonic()

    def signal(self, name: str) -> Any:
        """Return the value of a signal in the last state."""
        with self._lock:
            return self._retained["state"]["signals"][name]["value"]

    def stage(self) -> str:
        """Return the stage in the last state."""
        with self._lock:
            return str(self._retained["state"]["stage"])

    def alarm(self, rule: str) -> str:
        """Return the state of an alarm as it is retained at the broker."""
        with self._lock:
            return str(self._retained[f"alarm/{rule}"]["state"])

    def state_age_s(self) -> float:
        """Return how old the last state is."""
        with self._lock:
            return time.monotonic() - float(self._retained["state at"])


def level(pin: int) -> int:
    """Return the level of a pin now."""
    return int(LEVELS.read_text(encoding="ascii").split()[pin])


def edges(pin: int, since_s: float) -> list[tuple[float, int]]:
    """Return the edges of a pin since an instant of the monotonic clock."""
    found = []
    for line in EDGES.read_text(encoding="ascii").splitlines():
        at_s, of, to = line.split()
        if int(of) == pin and float(at_s) >= since_s:
            found.append((float(at_s), int(to)))
    return found


def unit(name: str, what: str) -> str:
    """Return a property of a unit."""
    return sh(f"systemctl show -p {what} --value {name}")


def step(name: str) -> dict[str, str]:
    """Return how far a step of the check before use has come, as the newest recording says."""
    newest = max(RECORDINGS.glob("*.jsonl"), key=lambda path: path.stat().st_mtime)
    found = {}
    for line in newest.read_text(encoding="utf-8").splitlines():
        # The last line may be half written yet.
        if '"step_changed"' in line and line.endswith("}"):
            event = json.loads(line)
            found[event["step"]] = event
    return found[name]
