"""An emulated `org.bluez`: what the Bluetooth library asks of it, and faults to order.

The library, its D-Bus client and the D-Bus daemon are real; the Bluetooth service and
the radio are not. The order of the signals was compared with BlueZ 5.66; how it fails
follows what was seen there or, where it could not be, what BlueZ's source says.
"""

import asyncio
from collections.abc import Awaitable, Callable, Coroutine
from typing import Any

from dbus_fast import Message, MessageType, Variant
from dbus_fast.aio import MessageBus

from bluez.names import (
    ADAPTER,
    BATTERY,
    CHARACTERISTIC,
    DEVICE,
    OBJECT_MANAGER,
    SERVICE,
    UNKNOWN_METHOD,
    UNKNOWN_OBJECT,
    Refusal,
)
from bluez.object_tree import ObjectTree
from bluez.peripheral import BATTERY_LEVEL, Characteristic, Peripheral

ADVERTISE_S = 0.02
ADAPTER_PATH = "/org/bluez/hci0"

Answer = tuple[str, list[Any]] | None
Method = Callable[[Message], Awaitable[Answer]]


class EmulatedBlueZ:
    """The Bluetooth service of one computer with one adapter.

    Args:
        bus_address: Where its D-Bus daemon listens.
        peripherals: The devices around.

    Attributes:
        calls: Names of the methods called, in order.
        on_call: Told of each call as it comes, before it is answered.
        is_mute: Calls are taken and never answered.
        refusals: Errors to answer with, by method, one a call.
    """

    def __init__(self, bus_address: str, *peripherals: Peripheral) -> None:
        self.calls: list[str] = []
        self.on_call: Callable[[str], object] = lambda _: None
        self.is_mute = False
        self.refusals: dict[str, list[Refusal]] = {}
        self._address = bus_address
        self._held: list[Message] | None = None
        self._peripherals: dict[str, Peripheral] = {}
        self._scanning: set[str] = set()
        self._tasks: set[asyncio.Task[Any]] = set()
        self._pending: dict[str, tuple[asyncio.Task[Any], Message]] = {}
        self._methods: dict[tuple[str, str], Method] = {
            (OBJECT_MANAGER, "GetManagedObjects"): self._get_managed_objects,
            (ADAPTER, "SetDiscoveryFilter"): self._set_discovery_filter,
            (ADAPTER, "StartDiscovery"): self._start_discovery,
            (ADAPTER, "StopDiscovery"): self._stop_discovery,
            (ADAPTER, "RemoveDevice"): self._remove_device,
            (DEVICE, "Connect"): self._connect,
            (DEVICE, "Disconnect"): self._disconnect,
            (CHARACTERISTIC, "ReadValue"): self._read_value,
            (CHARACTERISTIC, "WriteValue"): self._write_value,
            (CHARACTERISTIC, "StartNotify"): self._start_notify,
            (CHARACTERISTIC, "StopNotify"): self._stop_notify,
        }
        for peripheral in peripherals:
            self.bring(peripheral)

    # Life

    async def start(self, *, has_adapter: bool = True, is_powered: bool = True) -> None:
        """Appear on the bus."""
        bus = MessageBus(bus_address=self._address)
        self._bus = await bus.connect()
        self._tree = ObjectTree(bus)
        bus.add_message_handler(self._handle)
        rule = "type='signal',sender='org.freedesktop.DBus',member='NameOwnerChanged'"
        watch = Message(
            destination="org.freedesktop.DBus",
            path="/org/freedesktop/DBus",
            interface="org.freedesktop.DBus",
            member="AddMatch",
            signature="s",
            body=[rule],
        )
        await bus.call(watch)
        if has_adapter:
            self.plug_adapter(is_powered=is_powered)
        await bus.request_name("org.bluez")
        self._spawn(self._advertise())

    async def stop(self) -> None:
        """Vanish as a killed process does: no signals, and all links drop."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        for peripheral in self._peripherals.values():
            peripheral.is_connected = False
            for each in peripheral.all_characteristics():
                each.subscribers.clear()
        self._bus.disconnect()
        await self._bus.wait_for_disconnect()

    def freeze(self) -> None:
        """Stand still; what is asked of it from now on is done after `thaw`."""
        self._held = []

    def thaw(self) -> None:
        """Do what was asked meanwhile, in order, and go on."""
        held, self._held = self._held or [], None
        for message in held:
            self._take(message)

    # The world around

    def bring(self, peripheral: Peripheral) -> None:
        """Bring a device into range."""
        peripheral.attach(ADAPTER_PATH)
        self._peripherals[peripheral.path] = peripheral

    def drop(self, peripheral: Peripheral) -> None:
        """End a link from the other side: out of range, switched off."""
        if not peripheral.is_connected:
            return
        peripheral.is_connected = False
        self._tree.remove(peripheral.path, BATTERY)
        self._tree.set(peripheral.path, DEVICE, ServicesResolved=Variant("b", False))
        self._tree.set(peripheral.path, DEVICE, Connected=Variant("b", False))

    def forget(self, peripheral: Peripheral) -> None:
        """Drop the device from the list, as happens half a minute after it was last seen."""
        self._tree.remove(peripheral.path)

    def vanish(self, peripheral: Peripheral) -> None:
        """Lose a connected device without a word of the link."""
        peripheral.is_connected = False
        self._tree.remove(peripheral.path)

    def pretend_connected(self, peripheral: Peripheral) -> None:
        """Believe in a link that is not there."""
        self._announce(peripheral)
        self._show_services(peripheral)
        for name in ("Connected", "ServicesResolved"):
            self._tree.set(peripheral.path, DEVICE, **{name: Variant("b", True)})

    def plug_adapter(self, *, is_powered: bool = True) -> None:
        """Show the adapter."""
        properties = {
            "Address": Variant("s", "00:00:5E:00:53:01"),
            "Powered": Variant("b", is_powered),
            "Roles": Variant("as", ["central", "peripheral"]),
        }
        self._tree.add(ADAPTER_PATH, {ADAPTER: properties})

    def pull_adapter(self) -> None:
        """Take the adapter away, with all devices on it."""
        self._scanning.clear()
        for peripheral in self._peripherals.values():
            self.drop(peripheral)
        self._tree.remove(ADAPTER_PATH)

    def power(self, is_on: bool) -> None:
        """Switch the adapter on or off."""
        if not is_on:
            self._scanning.clear()
            for peripheral in self._peripherals.values():
                self.drop(peripheral)
        self._tree.set(ADAPTER_PATH, ADAPTER, Powered=Variant("b", is_on))

    def notify(self, peripheral: Peripheral, uuid: str, value: bytes) -> bool:
        """Send a notification or indication; whether anybody wanted it."""
        characteristic = peripheral.characteristic(uuid)
        if not peripheral.is_connected or not characteristic.subscribers:
            return False
        self._tree.set(characteristic.path, CHARACTERISTIC, Value=Variant("ay", value))
        return True

    # What it shows on the bus

    async def _advertise(self) -> None:
        while True:
            for peripheral in self._peripherals.values() if self._scanning else ():
                if peripheral.is_advertising and not peripheral.is_connected:
                    self._announce(peripheral)
            await asyncio.sleep(ADVERTISE_S)

    def _announce(self, peripheral: Peripheral) -> None:
        if peripheral.path in self._tree.objects:
            self._tree.set(peripheral.path, DEVICE, RSSI=Variant("n", -50))
            return
        properties = {
            "Address": Variant("s", peripheral.address),
            "Name": Variant("s", peripheral.name),
            "Alias": Variant("s", peripheral.name),
            "Adapter": Variant("o", ADAPTER_PATH),
            "UUIDs": Variant("as", list(peripheral.advertised)),
            "Paired": Variant("b", peripheral.is_paired),
            "Connected": Variant("b", False),
            "ServicesResolved": Variant("b", False),
            "RSSI": Variant("n", -50),
        }
        self._tree.add(peripheral.path, {DEVICE: properties})

    def _show_services(self, peripheral: Peripheral) -> None:
        for uuid, characteristics in peripheral.services.items():
            path = characteristics[0].path.rpartition("/")[0]
            service = {"UUID": Variant("s", uuid), "Device": Variant("o", peripheral.path)}
            if path not in self._tree.objects:
                self._tree.add(path, {SERVICE: service})
            for each in characteristics:
                shown = {
                    "UUID": Variant("s", each.uuid),
                    "Service": Variant("o", path),
                    "Flags": Variant("as", list(each.flags)),
                }
                if each.path not in self._tree.objects:
                    self._tree.add(each.path, {CHARACTERISTIC: shown})

    async def _resolve(self, peripheral: Peripheral) -> None:
        await asyncio.sleep(0)
        if peripheral.drops_in_discovery:
            peripheral.drops_in_discovery -= 1
            self.drop(peripheral)
        elif peripheral.is_connected and not peripheral.never_resolves:
            self._show_services(peripheral)
            self._tree.set(
                peripheral.path,
                DEVICE,
                UUIDs=Variant("as", list(peripheral.services)),
                ServicesResolved=Variant("b", True),
            )
            for each in peripheral.all_characteristics():
                if each.uuid == BATTERY_LEVEL:
                    level = {"Percentage": Variant("y", each.value[0])}
                    self._tree.add(peripheral.path, {BATTERY: level})

    # Calls

    def _handle(self, message: Message) -> bool:
        if message.message_type is MessageType.SIGNAL:
            if message.member == "NameOwnerChanged" and not message.body[2]:
                self._client_left(message.body[0])
            return False
        is_ours = (message.path or "").startswith("/org/bluez") or message.path == "/"
        if message.message_type is not MessageType.METHOD_CALL or not is_ours:
            return False
        self.calls.append(message.member or "")
        self.on_call(message.member or "")
        if self._held is not None:
            self._held.append(message)
        elif not self.is_mute:
            self._take(message)
        return True

    def _take(self, message: Message) -> None:
        task = self._spawn(self._reply(message))
        key = f"{message.path} {message.member}"
        self._pending[key] = (task, message)
        task.add_done_callback(lambda _: self._pending.pop(key, None))

    def _client_left(self, name: str) -> None:
        self._scanning.discard(name)
        for peripheral in self._peripherals.values():
            for each in peripheral.all_characteristics():
                each.subscribers.discard(name)

    async def _reply(self, message: Message) -> None:
        try:
            answer = await self._answer(message)
        except Refusal as refusal:
            self._tree.send(Message.new_error(message, refusal.name, refusal.text))
            return
        kind, body = answer or ("", [])
        self._tree.send(Message.new_method_return(message, kind, body))

    async def _answer(self, message: Message) -> Answer:
        if ordered := self.refusals.get(message.member or ""):
            raise ordered.pop(0)
        method = self._methods.get((message.interface or "", message.member or ""))
        if method is None:
            raise Refusal(UNKNOWN_METHOD, f"no method {message.interface}.{message.member}")
        if message.path != "/" and message.path not in self._tree.objects:
            raise Refusal(UNKNOWN_OBJECT, f"no object {message.path}")
        return await method(message)

    async def _get_managed_objects(self, _message: Message) -> Answer:
        return "a{oa{sa{sv}}}", [self._tree.objects]

    async def _set_discovery_filter(self, _message: Message) -> Answer:
        return None

    async def _start_discovery(self, message: Message) -> Answer:
        if not self._tree.get(ADAPTER_PATH, ADAPTER, "Powered"):
            raise Refusal("NotReady", "Resource Not Ready")
        if message.sender in self._scanning:
            raise Refusal("InProgress", "Operation already in progress")
        self._scanning.add(message.sender or "")
        return None

    async def _stop_discovery(self, message: Message) -> Answer:
        if not self._tree.get(ADAPTER_PATH, ADAPTER, "Powered"):
            raise Refusal("NotReady", "Resource Not Ready")
        if message.sender not in self._scanning:
            raise Refusal("Failed", "No discovery started")
        self._scanning.discard(message.sender)
        return None

    async def _remove_device(self, message: Message) -> Answer:
        peripheral = self._peripherals[message.body[0]]
        if peripheral.path not in self._tree.objects:
            raise Refusal("DoesNotExist", "Does Not Exist")
        self.drop(peripheral)
        self._tree.remove(peripheral.path)
        return None

    async def _connect(self, message: Message) -> Answer:
        peripheral = self._peripherals[message.path or ""]
        if not self._tree.get(ADAPTER_PATH, ADAPTER, "Powered"):
            raise Refusal("Failed", "Input/output error")
        if peripheral.never_connects:
            await asyncio.Event().wait()
        if peripheral.connect_refusals:
            refusal = peripheral.connect_refusals.pop(0)
            if refusal.text == "le-connection-abort-by-local":  # it is up for a moment
                self._tree.set(peripheral.path, DEVICE, Connected=Variant("b", True))
                self._later(self._tree.set, peripheral.path, Connected=Variant("b", False))
            raise refusal
        peripheral.is_connected = True
        self._tree.set(peripheral.path, DEVICE, Connected=Variant("b", True))
        self._spawn(self._resolve(peripheral))
        return None

    def _later(self, act: Callable[..., None], path: str, **properties: Variant) -> None:
        loop = asyncio.get_running_loop()
        loop.call_later(ADVERTISE_S, lambda: act(path, DEVICE, **properties))

    async def _disconnect(self, message: Message) -> Answer:
        if waiting := self._pending.get(f"{message.path} Connect"):
            task, call = waiting
            task.cancel()
            error = Message.new_error(call, "org.bluez.Error.Failed", "br-connection-canceled")
            self._tree.send(error)
        self.drop(self._peripherals[message.path or ""])
        return None

    def _connected(self, message: Message) -> Characteristic:
        for peripheral in self._peripherals.values():
            for each in peripheral.all_characteristics():
                if each.path == message.path and peripheral.is_connected:
                    return each
        raise Refusal("Failed", "Not connected")

    async def _read_value(self, message: Message) -> Answer:
        each = self._connected(message)
        if each.read_refusal:
            raise each.read_refusal
        if "read" not in each.flags:
            raise Refusal("NotPermitted", "Read not permitted")
        self._tree.set(each.path, CHARACTERISTIC, Value=Variant("ay", each.value))
        return "ay", [each.value]

    async def _write_value(self, message: Message) -> Answer:
        each = self._connected(message)
        if "write" not in each.flags:
            raise Refusal("NotPermitted", "Write not permitted")
        each.written.append(bytes(message.body[0]))
        return None

    async def _start_notify(self, message: Message) -> Answer:
        each = self._connected(message)
        if each.notify_refusal:
            raise each.notify_refusal
        if not {"notify", "indicate"} & set(each.flags):
            raise Refusal("NotSupported", "Operation is not supported")
        each.subscribers.add(message.sender or "")
        return None

    async def _stop_notify(self, message: Message) -> Answer:
        self._connected(message).subscribers.discard(message.sender or "")
        return None

    def _spawn(self, work: Coroutine[Any, Any, Any]) -> asyncio.Task[Any]:
        task = asyncio.ensure_future(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return task
