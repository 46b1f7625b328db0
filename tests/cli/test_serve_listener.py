"""The door that `hushpoint serve` opens for browsers."""

from __future__ import annotations

import asyncio
import socket

from hushpoint.cli.serve import _listener
from own_loop import in_own_loop


async def _sent_at_once() -> int:
    """Return whether a connection through the listener sends without waiting for the other side's word."""
    said: asyncio.Future[int] = asyncio.get_running_loop().create_future()

    def told(_reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        kept = writer.get_extra_info("socket")
        said.set_result(kept.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY))
        writer.close()

    listener = _listener("127.0.0.1", 0)
    server = await asyncio.start_server(told, sock=listener)
    async with server:
        _, writer = await asyncio.open_connection(*listener.getsockname())
        found = await said
        writer.close()
    return found


def test_an_answer_goes_out_at_once_on_a_kept_connection() -> None:
    """Head and body leave apart; without TCP_NODELAY the body waits some 40 ms on every connection but a new one."""
    assert in_own_loop(_sent_at_once) != 0
