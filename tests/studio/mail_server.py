"""A real SMTP server for tests that answers what it is told to."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager
from email import message_from_bytes
from email.message import Message

from aiosmtpd.controller import Controller


class ScriptedServer:
    """Takes one answer of `recipient_answers` and `data_answers` for each attempt, then 250.

    With `holds_data` it has the whole letter and gives no answer until the flag is lowered.
    """

    def __init__(self) -> None:
        self.recipient_answers: list[str] = []
        self.data_answers: list[str] = []
        self.received: list[Message] = []
        self.holds_data = False
        self.port = 0

    async def handle_RCPT(self, server, session, envelope, address, options) -> str:
        answer = self.recipient_answers.pop(0) if self.recipient_answers else "250 OK"
        if answer.startswith("250"):
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(self, server, session, envelope) -> str:
        self.received.append(message_from_bytes(envelope.content))
        while self.holds_data:
            await asyncio.sleep(0.01)
        return self.data_answers.pop(0) if self.data_answers else "250 OK"


class FreePortController(Controller):
    """Listens on any free port and tells which."""

    def _trigger_server(self) -> None:
        self.port = self.server.sockets[0].getsockname()[1]
        super()._trigger_server()


@contextmanager
def mail_server() -> Iterator[ScriptedServer]:
    script = ScriptedServer()
    controller = FreePortController(script, hostname="127.0.0.1", port=0)
    controller.start()
    script.port = controller.port
    try:
        yield script
    finally:
        controller.stop()
