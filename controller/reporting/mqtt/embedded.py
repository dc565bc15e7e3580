"""
A broker in this process, for who has none: on this machine alone, MQTT 3.1.1, nothing kept when it ends.

It asks nobody who he is. So whoever has an account on this machine can listen. Commands are taken only where
services.yaml lets them in and names no protection for them that this broker has not.
"""

import logging
import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from controller.reporting.services import Mqtt

HOST = "127.0.0.1"
PORT = 1883
UNPROTECTED = "the embedded broker asks nobody who he is: it lets no commands in, whatever services.yaml says"


class EmbeddedError(Exception):
    """It cannot be started; says why and the way out."""


def here(mqtt: Mqtt | None, folder: Path) -> Mqtt:
    """
    The settings of a station for the broker on this machine: its site, unit and port, none of its secrets.

    >>> mqtt = here(None, Path("configs/buckwheat_mill"))
    >>> mqtt.host, mqtt.port, mqtt.unit, mqtt.commands
    ('127.0.0.1', 1883, 'buckwheat_mill', 'refused')
    """
    unit = re.sub("[^A-Za-z0-9]", "_", folder.resolve().name)[:32]
    if mqtt and (mqtt.user or mqtt.encryption or not mqtt.is_here):
        mqtt = mqtt.model_copy(update={"commands": "refused"})
    mqtt = mqtt or Mqtt(site="here", unit=unit.lstrip("_") or "R", client_id="vacuum-receiver")
    asks_nobody = {"user": "", "password_env": "", "password_file": "", "tls": None}
    return mqtt.model_copy(update={"publish": True, "host": HOST, "protocol": "3.1.1", **asks_nobody})


@asynccontextmanager
async def broker(port: int = PORT) -> AsyncIterator[None]:
    """
    As long as the context lasts, on the event loop it is entered on.

    Raises:
        EmbeddedError: The package is not installed, or the port is taken.
    """
    try:
        from amqtt.broker import Broker
        from amqtt.errors import BrokerError
    except ModuleNotFoundError as error:
        msg = f"the embedded broker needs the package {error.name}: pip install 'vacuum-receiver[broker]'"
        raise EmbeddedError(msg) from None

    class Closing(Broker):  # type: ignore[misc]
        """It leaves its end of a connection that was lost to the garbage collector otherwise."""

        async def stream_connected(self, reader: Any, writer: Any, listener_name: str) -> None:
            try:
                await super().stream_connected(reader, writer, listener_name)
            finally:
                writer.close()

    for name in ("amqtt", "transitions"):
        logging.getLogger(name).setLevel(logging.CRITICAL)  # each client that is lost would be told
    started = Closing({
        "listeners": {"default": {"type": "tcp", "bind": f"{HOST}:{port}"}},
        "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
    })  # fmt: skip
    try:
        await started.start()
    except BrokerError as error:
        why = "another program, perhaps a broker, listens there" if _is_taken(error) else str(error)
        msg = f"the embedded broker cannot listen on {HOST}:{port}: {why}: name another port in services.yaml"
        raise EmbeddedError(msg) from None
    try:
        yield
    finally:
        await started.shutdown()


def _is_taken(error: BaseException) -> bool:
    return "Errno 98" in str(error) or "in use" in str(error)
