"""The objects that a service shows on the bus, and the signals that tell of changes."""

import asyncio
import select
from collections import deque
from typing import Any

from dbus_fast import Message, Variant
from dbus_fast.aio import MessageBus

from bluez.names import OBJECT_MANAGER, PROPERTIES

Interfaces = dict[str, dict[str, Variant]]


class ObjectTree:
    """Objects with their interfaces and properties.

    Args:
        bus: A connected bus.

    Attributes:
        objects: Interfaces by path.
    """

    def __init__(self, bus: MessageBus) -> None:
        self.objects: dict[str, Interfaces] = {}
        self._bus = bus
        self._waiting: deque[Message] = deque()

    def send(self, message: Message) -> None:
        """Send in order, and never into a full socket.

        dbus-fast gives up the whole bus when a write would block.
        """
        self._waiting.append(message)
        if len(self._waiting) == 1:
            self._drain()

    def _drain(self) -> None:
        while self._waiting and self._bus.connected:
            if not select.select([], [self._bus._fd], [], 0)[1]:
                asyncio.get_running_loop().call_later(0.001, self._drain)
                return
            self._bus.send(self._waiting.popleft())

    def add(self, path: str, interfaces: Interfaces) -> None:
        """Show an object, or more interfaces of one."""
        self.objects.setdefault(path, {}).update(interfaces)
        self._signal("/", OBJECT_MANAGER, "InterfacesAdded", "oa{sa{sv}}", [path, interfaces])

    def remove(self, path: str, *interfaces: str) -> None:
        """Take interfaces of an object away; without names, the object and all beneath it."""
        if interfaces:
            gone = [each for each in interfaces if self.objects.get(path, {}).pop(each, None)]
            if gone:
                self._signal("/", OBJECT_MANAGER, "InterfacesRemoved", "oas", [path, gone])
            return
        beneath = [each for each in self.objects if each == path or each.startswith(path + "/")]
        for each in sorted(beneath, reverse=True):
            names = list(self.objects.pop(each))
            self._signal("/", OBJECT_MANAGER, "InterfacesRemoved", "oas", [each, names])

    def set(self, path: str, interface: str, **properties: Variant) -> None:
        """Change properties, and say so even where the value is the same as before."""
        if path in self.objects:
            self.objects[path][interface].update(properties)
            body = [interface, properties, list[str]()]
            self._signal(path, PROPERTIES, "PropertiesChanged", "sa{sv}as", body)

    def get(self, path: str, interface: str, name: str) -> Any:
        """Return the value of a property."""
        return self.objects[path][interface][name].value

    def _signal(self, path: str, interface: str, member: str, kind: str, body: list[Any]) -> None:
        self.send(Message.new_signal(path, interface, member, kind, body))
