"""A receiver that publishes, to be killed or frozen: port, folder, boot, client id, keep-alive, protocol."""

import asyncio
import sys
from pathlib import Path

from reporting.mqtt.brokered import REST, mqtt, reading, site, until


async def main(port: str, folder: str, boot: str, client_id: str, keepalive_s: str, protocol: str) -> None:
    settings = mqtt(int(port), client_id=client_id, keepalive_s=int(keepalive_s), protocol=protocol)
    async with site(Path(folder), settings, boot=boot) as here:
        here.publisher.now(REST, [reading(1.0)])
        await until(lambda: here.publisher.link.online)
        print("online", flush=True)
        await asyncio.Event().wait()


asyncio.run(main(*sys.argv[1:]))
