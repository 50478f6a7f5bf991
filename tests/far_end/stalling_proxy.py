"""A network that can be cut: passes TCP on, until it holds all back and drops nothing."""

import asyncio
import contextlib


class StallingProxy:
    """Listens on a free port of the loopback interface and passes on to another.

    Attributes:
        port: Where it listens.
    """

    def __init__(self, to_port: int) -> None:
        self._to_port = to_port
        self._flows = asyncio.Event()
        self._flows.set()
        self._tasks: set[asyncio.Task[None]] = set()
        self.port = 0

    async def start(self) -> None:
        """Begin to listen."""
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        self.port = self._server.sockets[0].getsockname()[1]

    def stall(self) -> None:
        """Hold everything back; connections stay open, as with a dead radio."""
        self._flows.clear()

    async def stop(self) -> None:
        """End it."""
        self._server.close()
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._tasks.add(task)
        await self._flows.wait()
        far_reader, far_writer = await asyncio.open_connection("127.0.0.1", self._to_port)
        try:
            async with asyncio.TaskGroup() as group:
                group.create_task(self._pass(reader, far_writer))
                group.create_task(self._pass(far_reader, writer))
        except asyncio.CancelledError:
            pass
        finally:
            for one in (writer, far_writer):
                one.close()
                with contextlib.suppress(ConnectionError):
                    await one.wait_closed()

    async def _pass(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(ConnectionError):
            while data := await reader.read(65_536):
                await self._flows.wait()
                writer.write(data)
                await writer.drain()
            writer.close()
