"""The local socket: what it answers, who may reach it, and that no client disturbs the loop."""

import asyncio
import json
import os
import random
import socket
import stat
import time
from collections.abc import Awaitable, Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest

from linetender.core.alarm_table import AlarmState
from linetender.core.events import AlarmChanged, Demand, Event
from linetender.core.inputs import By, Verb
from linetender.core.snapshot import Snapshot
from linetender.core.stages import Priority, Stage
from linetender.runtime import control_socket
from linetender.runtime.control_messages import LONGEST_LINE
from linetender.runtime.control_socket import MOST_CLIENTS, MOST_WAITING_BYTES, ControlSocket

S = 1_000_000_000
SNAPSHOT = Snapshot(5 * S, Stage.IDLE, 7, (), (), Demand(), True, 105.0)
RAISED = AlarmChanged(
    5 * S, 7, "air_lost", AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED, Priority.HIGH
)


class Station:
    """Takes every wish but those of an attendant to end, and notes them."""

    def __init__(self) -> None:
        self.wishes: list[tuple[object, ...]] = []
        self.overrides: list[tuple[str, str]] = []

    def snapshot(self) -> Snapshot:
        return SNAPSHOT

    def ask(
        self,
        verb: Verb,
        by: By,
        *,
        shown: int = 0,
        duration_ns: int = 0,
        rule: str = "",
        source: str = "",
        step: str = "",
        reason: str = "",
    ) -> str | None:
        self.overrides.append((step, reason))
        self.wishes.append((verb, by, shown, duration_ns, rule, source))
        return "only the wearer" if (verb, by) == (Verb.END, By.ATTENDANT) else None

    def test_alarm(self) -> str | None:
        return "something sounds"


def spoken(event: Event) -> str | None:
    return f"said {event.due_ns}"


class Bench:
    """A served socket, and how late the loop ever was meanwhile."""

    def __init__(self, folder: Path) -> None:
        self.station = Station()
        self.control = ControlSocket(folder, "bench", spoken)
        self.latest_s = 0.0
        self._writers: list[asyncio.StreamWriter] = []

    async def client(self) -> "Client":
        reader, writer = await asyncio.open_unix_connection(self.control.path)
        self._writers.append(writer)
        return Client(reader, writer)

    async def hang_up(self) -> None:
        """Close what the clients left open, and let the loop see it."""
        for writer in self._writers:
            writer.transport.abort()
        await asyncio.sleep(0)
        await asyncio.sleep(0)

    async def look_at_the_loop(self) -> None:
        """Note by how much a timer of 1 ms is late."""
        while True:
            due_s = time.monotonic() + 0.001
            await asyncio.sleep(0.001)
            self.latest_s = max(self.latest_s, time.monotonic() - due_s)


class Client:
    """Speaks lines."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader, self.writer = reader, writer

    async def ask(self, line: bytes | dict[str, Any]) -> dict[str, Any]:
        text = line if isinstance(line, bytes) else json.dumps(line).encode()
        self.writer.write(text + b"\n")
        return await self.hear()

    async def hear(self) -> dict[str, Any]:
        async with asyncio.timeout(10):
            answer: dict[str, Any] = json.loads(await self.reader.readuntil(b"\n"))
        return answer

    async def is_dropped(self) -> bool:
        async with asyncio.timeout(10):
            try:
                while await self.reader.read(65_536):
                    pass
            except ConnectionError:
                return True
        return True


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder whose path is short: a socket's may have 107 bytes."""
    with TemporaryDirectory(prefix="lt-") as made:
        yield Path(made)


def on_a_bench(folder: Path, act: Callable[[Bench], Awaitable[None]]) -> Bench:
    async def run() -> Bench:
        bench = Bench(folder)
        looking = asyncio.create_task(bench.look_at_the_loop())
        async with bench.control.serving(bench.station):
            try:
                await act(bench)
            finally:
                await bench.hang_up()
        looking.cancel()
        return bench

    return asyncio.run(run())


def test_status_says_everything(folder: Path) -> None:
    async def act(bench: Bench) -> None:
        client = await bench.client()
        answer = await client.ask({"id": 3, "verb": "status"})
        assert (answer["v"], answer["id"], answer["ok"]) == (1, 3, True)
        assert answer["result"]["station"] == "bench"
        assert answer["result"]["snapshot"]["stage"] == "idle"
        assert answer["result"]["snapshot"]["air_baseline"] == 105.0

    on_a_bench(folder, act)
    assert list(folder.iterdir()) == []


def test_wishes_reach_the_station_with_who_made_them(folder: Path) -> None:
    me = f"socket, uid {os.getuid()}"

    async def act(bench: Bench) -> None:
        client = await bench.client()
        for args, verb in (
            ({"shown": 7}, "acknowledge"),
            ({"wearer": True, "shown": 7}, "acknowledge"),
            ({"duration_s": 60}, "pause-sound"),
            ({"rule": "air_lost"}, "reset"),
            ({}, "pre-use"),
            ({"step": "heard", "reason": "siren is mended"}, "pre-use"),
            ({"wearer": True}, "start"),
            ({}, "out"),
        ):
            answer = await client.ask({"v": 1, "id": 1, "verb": verb, "args": args})
            assert answer == {"v": 1, "id": 1, "ok": True}

    bench = on_a_bench(folder, act)
    assert bench.station.wishes == [
        (Verb.ACKNOWLEDGE, By.ATTENDANT, 7, 0, "", me),
        (Verb.ACKNOWLEDGE, By.WEARER, 7, 0, "", me),
        (Verb.PAUSE_SOUND, By.ATTENDANT, 0, 60 * S, "", me),
        (Verb.RESET, By.ATTENDANT, 0, 0, "air_lost", me),
        (Verb.PRE_USE, By.ATTENDANT, 0, 0, "", me),
        (Verb.PRE_USE, By.ATTENDANT, 0, 0, "", me),
        (Verb.START, By.WEARER, 0, 0, "", me),
        (Verb.OUT, By.ATTENDANT, 0, 0, "", me),
    ]
    assert [told for told in bench.station.overrides if told != ("", "")] == [
        ("heard", "siren is mended")
    ]


def test_a_refusal_comes_in_words(folder: Path) -> None:
    async def act(bench: Bench) -> None:
        client = await bench.client()
        ended = await client.ask({"id": 1, "verb": "end"})
        tested = await client.ask({"id": 2, "verb": "test-alarm"})
        assert (ended["ok"], ended["error"]) == (False, "only the wearer")
        assert (tested["ok"], tested["error"]) == (False, "something sounds")

    on_a_bench(folder, act)


def test_who_watches_sees_what_happens(folder: Path) -> None:
    async def act(bench: Bench) -> None:
        client = await bench.client()
        assert (await client.ask({"id": 9, "verb": "watch"}))["id"] == 9
        bench.control.tell((RAISED,), SNAPSHOT)
        bench.control.tell((), SNAPSHOT)
        told = [await client.hear(), await client.hear()]
        assert [one["result"].get("lines", []) for one in told] == [[f"said {5 * S}"], []]
        assert [one["id"] for one in told] == [9, 9]
        assert (await client.ask({"id": 10, "verb": "out"}))["id"] == 10

    on_a_bench(folder, act)


def test_owner_and_group_may_talk_to_it_whatever_the_umask(folder: Path) -> None:
    def mode(path: Path) -> int:
        return stat.S_IMODE(path.stat().st_mode)

    async def act(bench: Bench) -> None:
        assert (mode(bench.control.path), mode(folder)) == (0o660, 0o750)

    before = os.umask(0o077)
    try:
        on_a_bench(folder, act)
    finally:
        os.umask(before)


def test_a_socket_left_by_a_killed_daemon_is_taken_over(folder: Path) -> None:
    with socket.socket(socket.AF_UNIX) as left:
        left.bind(str(folder / "control.sock"))
    test_status_says_everything(folder)


def test_where_none_can_be_made_the_watching_goes_on(
    folder: Path, caplog: pytest.LogCaptureFixture
) -> None:
    async def act(bench: Bench) -> None:
        bench.control.tell((RAISED,), SNAPSHOT)

    on_a_bench(folder / "missing", act)
    assert "nobody can talk to this daemon" in caplog.text


GARBLED = {
    "no JSON": b"hello",
    "empty": b"",
    "torn": b'{"id": 1, "verb": "sta',
    "another shape": b"[1, 2]",
    "no verb": b'{"id": 1}',
    "an unknown verb": b'{"id": 1, "verb": "explode"}',
    "another version": b'{"v": 2, "id": 1, "verb": "status"}',
    "an unknown key": b'{"id": 1, "verb": "status", "force": true}',
    "an unknown argument": b'{"id": 1, "verb": "end", "args": {"by": "wearer"}}',
    "a negative number": b'{"id": -1, "verb": "status"}',
    "a large number": b'{"id": 1e99, "verb": "status"}',
    "no number": b'{"id": 1, "verb": "pause-sound", "args": {"duration_s": NaN}}',
    "a long pause": b'{"id": 1, "verb": "pause-sound", "args": {"duration_s": 1e300}}',
    "deep": b'{"id": ' + b"[" * 30_000 + b"]" * 30_000 + b"}",
    "no UTF-8": b'{"id": 1, "verb": "reset", "args": {"rule": "\xff\xfe"}}',
    "zeros": b"\0" * 1000,
}


@pytest.mark.parametrize("line", GARBLED.values(), ids=GARBLED.keys())
def test_what_is_no_request_is_said_and_ends_the_talk(line: bytes, folder: Path) -> None:
    async def act(bench: Bench) -> None:
        client = await bench.client()
        answer = await client.ask(line)
        assert (answer["id"], answer["ok"]) == (0, False)
        assert answer["error"].startswith("no request")
        assert await client.is_dropped()

    assert on_a_bench(folder, act).station.wishes == []


def test_a_line_that_is_too_long(folder: Path) -> None:
    async def act(bench: Bench) -> None:
        client = await bench.client()
        client.writer.write(b"x" * (3 * LONGEST_LINE))
        answer = await client.hear()
        assert answer["error"] == f"a line is over {LONGEST_LINE} bytes"
        assert await client.is_dropped()

    on_a_bench(folder, act)


def test_random_bytes_do_nothing(folder: Path) -> None:
    seed = 20
    drawn = random.Random(seed)
    lines = [drawn.randbytes(drawn.randrange(1, 300)) for _ in range(300)]
    whole = b'{"v": 1, "id": 1, "verb": "out", "args": {}}'
    for _ in range(300):
        bent = bytearray(whole)
        for _ in range(drawn.randrange(1, 4)):
            bent[drawn.randrange(len(bent))] = drawn.randrange(256)
        lines.append(bytes(bent))

    async def act(bench: Bench) -> None:
        for line in lines:
            client = await bench.client()
            client.writer.write(line)
            client.writer.close()
        assert (await (await bench.client()).ask({"id": 1, "verb": "status"}))["ok"]

    # Without an end of line nothing is a request, not even a whole one.
    assert on_a_bench(folder, act).station.wishes == [], f"seed {seed}"


def test_too_many_are_turned_away_until_one_leaves(folder: Path) -> None:
    async def act(bench: Bench) -> None:
        clients = [await bench.client() for _ in range(MOST_CLIENTS)]
        for client in clients:
            assert (await client.ask({"id": 1, "verb": "status"}))["ok"]
        late = await bench.client()
        assert "others talk to it" in (await late.hear())["error"]
        clients[0].writer.close()
        answer: dict[str, Any] = {"id": 0}
        while answer["id"] != 2:
            late = await bench.client()
            answer = await late.ask({"id": 2, "verb": "status"})

    on_a_bench(folder, act)


def test_one_that_never_reads_is_dropped(folder: Path) -> None:
    lines = MOST_WAITING_BYTES // 100

    async def act(bench: Bench) -> None:
        client = await bench.client()
        await client.ask({"id": 1, "verb": "watch"})
        client.writer.transport.pause_reading()  # type: ignore[attr-defined]
        for _ in range(40):
            bench.control.tell((RAISED,) * lines, SNAPSHOT)
            await asyncio.sleep(0)
        # What it is told then costs nothing: nobody watches any more.
        assert (await (await bench.client()).ask({"id": 1, "verb": "status"}))["ok"]
        client.writer.transport.resume_reading()  # type: ignore[attr-defined]
        assert await client.is_dropped()

    on_a_bench(folder, act)


def test_one_that_asks_nothing_is_dropped(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(control_socket, "IDLE_S", 0.05)

    async def act(bench: Bench) -> None:
        silent, half, watcher = [await bench.client() for _ in range(3)]
        half.writer.write(b'{"id"')
        await watcher.ask({"id": 1, "verb": "watch"})
        assert await silent.is_dropped()
        assert await half.is_dropped()
        bench.control.tell((), SNAPSHOT)
        assert (await watcher.hear())["ok"]

    on_a_bench(folder, act)


def test_floods_of_requests_leave_the_loop_its_time(folder: Path) -> None:
    """Asserts only what no busy machine explains."""
    line = b'{"id": 1, "verb": "status"}\n'

    async def flood(client: Client) -> None:
        client.writer.write(line * 2_000)
        for _ in range(50):
            await client.hear()
        client.writer.transport.abort()

    async def act(bench: Bench) -> None:
        clients = [await bench.client() for _ in range(MOST_CLIENTS)]
        await asyncio.gather(*(flood(client) for client in clients))

    bench = on_a_bench(folder, act)
    assert bench.latest_s < 1.0, f"a timer was late by {bench.latest_s:.3f} s"


def test_that_everything_ends_while_somebody_watches_is_no_mistake(folder: Path) -> None:
    """As when the world of a simulated station goes: the loop's runner cancels every task."""
    mistakes: list[dict[str, Any]] = []

    async def run() -> None:
        loop = asyncio.get_running_loop()
        loop.set_exception_handler(lambda _, context: mistakes.append(context))
        bench = Bench(folder)
        async with bench.control.serving(bench.station):
            watching = await bench.client()
            assert (await watching.ask({"v": 1, "id": 1, "verb": "watch"}))["ok"]
            own = {asyncio.current_task()}
            for task in asyncio.all_tasks() - own:
                task.cancel()
            assert await watching.is_dropped()
            assert not bench.control.is_asked
            await bench.hang_up()

    asyncio.run(run())
    assert mistakes == []
