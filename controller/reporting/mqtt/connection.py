"""
One connection to a broker: a client of its own for each attempt, which leaves nothing open.

aiomqtt is the present name of asyncio-mqtt. What is added here is what it leaves to its user: an answer that
says "not taken" (it only counts answers), a connection that is cut without a farewell, so that the broker
tells of it (the will), one that the broker closes at once (it would wait for an answer), and one that is
given up while the broker is silent (its socket would stay, and come back to life with the broker: an older
twin under the same client id).
"""

import asyncio
import logging
import socket
import ssl
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import aiomqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from controller.reporting.messages import CONTENT_TYPE, Message
from controller.reporting.mqtt.reasons import NotTakenError
from controller.reporting.secret import read_private
from controller.reporting.services import Mqtt

ANSWER_S = 5.0
"""For each answer of the broker."""
IN_FLIGHT = 8
"""Messages that wait for their answer at a time; over 10 the library complains of each."""
LARGEST_BYTES = 64 * 1_024
"""Of what is received: larger messages are dropped, under 5.0 by the broker already."""
ROOM = 64
"""Messages that wait to be looked at; what comes beyond them is dropped."""
NO_DELAY = (socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
"""The first messages of a connection would wait 40 ms for each other (Nagle with a delayed answer)."""

_SILENT = logging.Logger("mqtt")
_SILENT.disabled = True  # what matters is said in the status


class Connection(aiomqtt.Client):
    """A client of the library. `open` once; then `close` with a farewell, or `cut` without one."""

    def __init__(
        self, mqtt: Mqtt, folder: Path, password: str | None, *, client_id: str, will: Message | None = None
    ) -> None:
        """
        Nothing is sent yet.

        Args:
            mqtt: Where, and how.
            folder: Of the station, the start of relative paths.
            password: Belongs to `mqtt.user`.
            client_id: Empty: the broker gives one.
            will: What the broker tells when the connection is lost.

        Raises:
            OSError, SecretError: A certificate or its key cannot be read.
        """
        self.is_v5 = mqtt.protocol == "5.0"
        self.refusal: ReasonCode | None = None
        """What the last message was refused with; until it is set to None nothing counts as taken."""
        self._is_cut = False
        super().__init__(
            mqtt.host, mqtt.port,
            username=mqtt.user or None, password=password, identifier=client_id,
            protocol=aiomqtt.ProtocolVersion.V5 if self.is_v5 else aiomqtt.ProtocolVersion.V311,
            keepalive=mqtt.keepalive_s, timeout=ANSWER_S, tls_context=_tls(mqtt, folder), logger=_SILENT,
            will=will and aiomqtt.Will(*will, properties=self._described(PacketTypes.WILLMESSAGE)),
            properties=self._largest(), socket_options=(NO_DELAY,), max_queued_incoming_messages=ROOM,
        )  # fmt: skip
        for future in (self._connected, self._disconnected):  # looked at, whoever waits for it
            future.add_done_callback(lambda done: done.cancelled() or done.exception())

    async def open(self) -> None:
        """Connects; raises `aiomqtt.MqttError` and leaves nothing behind where that fails."""
        try:
            await self.__aenter__()
        except BaseException:
            self.cut()
            raise

    async def hear(self, topic: str, *, as_published: bool = False) -> None:
        """
        From now on what is published there is among the messages.

        `as_published` (5.0): with the retain flag of its sender; else only what was kept from before has it.

        Raises:
            aiomqtt.MqttError: The connection is lost, or the broker is silent.
            NotTakenError: The broker does not let it.
        """
        how: dict[str, Any] = {"qos": 1}
        if self.is_v5:
            how = {"options": SubscribeOptions(qos=1, retainAsPublished=as_published)}
        for code in await self.subscribe(topic, **how):
            if isinstance(code, ReasonCode) and code.is_failure:
                raise NotTakenError(code)

    async def tell(self, messages: Sequence[Message], **properties: Any) -> None:
        """
        Publishes all of it in order, and returns when the broker has acknowledged it. Properties: `tell_one`.

        Raises:
            aiomqtt.MqttError: The connection is lost, or the broker is silent.
            NotTakenError: The broker does not take one of them.
        """
        refused: NotTakenError | None = None
        for first in range(0, len(messages), IN_FLIGHT):
            batch = [self.tell_one(message, **properties) for message in messages[first : first + IN_FLIGHT]]
            for wrong in filter(None, await asyncio.gather(*batch, return_exceptions=True)):
                if not isinstance(wrong, NotTakenError):
                    raise wrong
                refused = wrong
        if refused:
            raise refused

    async def tell_one(self, message: Message, **properties: Any) -> None:
        """One message. Raises as `tell`. Properties are those of 5.0, and left out under 3.1.1."""
        with_them = self._described(PacketTypes.PUBLISH, **properties)
        await self.publish(*message, properties=with_them)
        if self.refusal:
            raise NotTakenError(self.refusal)

    async def close(self) -> None:
        """With a farewell: the broker forgets the will. Leaves nothing open, whatever happens."""
        with suppress(aiomqtt.MqttError):
            await self.__aexit__(None, None, None)
        self.cut()

    def cut(self) -> None:
        """Without a farewell, now."""
        self._is_cut = True
        opened = self._client.socket()
        if isinstance(opened, socket.socket):
            with suppress(OSError):
                opened.shutdown(socket.SHUT_RDWR)
            with suppress(Exception):  # whatever the library makes of the end, it is the end
                self._client.loop_read()  # finds it, and takes the socket out of the loop

    def _on_socket_open(self, client: Any, userdata: Any, sock: Any) -> None:
        """In the thread that connects: nobody may wait for it any more."""
        if self._is_cut:
            sock.shutdown(socket.SHUT_RDWR)
            return
        super()._on_socket_open(client, userdata, sock)

    def _on_disconnect(
        self, client: Any, userdata: Any, flags: Any, reason_code: ReasonCode, properties: Any = None
    ) -> None:
        """Also before it was accepted: the broker closed it without a word."""
        if not self._connected.done():
            self._connected.set_exception(aiomqtt.MqttCodeError(reason_code))
        super()._on_disconnect(client, userdata, flags, reason_code, properties)

    def _on_publish(
        self, client: Any, userdata: Any, mid: int, reason_code: ReasonCode, properties: Any
    ) -> None:
        if reason_code.is_failure:
            self.refusal = reason_code
        super()._on_publish(client, userdata, mid, reason_code, properties)

    def _described(self, packet: int, **more: Any) -> Properties | None:
        if not self.is_v5:
            return None
        properties = Properties(packet)  # type: ignore[no-untyped-call]
        for name, value in {"ContentType": CONTENT_TYPE, "PayloadFormatIndicator": 1, **more}.items():
            if value is not None:
                setattr(properties, name, value)
        return properties

    def _largest(self) -> Properties | None:
        if not self.is_v5:
            return None
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.MaximumPacketSize = LARGEST_BYTES + 1_024  # topic and properties come on top
        return properties


def _tls(mqtt: Mqtt, folder: Path) -> ssl.SSLContext | None:
    tls = mqtt.encryption
    if tls is None:
        return None
    context = ssl.create_default_context(cafile=str(folder / tls.ca_file) if tls.ca_file else None)
    if tls.certificate_file:
        key = folder / tls.key_file
        read_private(key)  # others must not read it
        context.load_cert_chain(folder / tls.certificate_file, key)
    return context
