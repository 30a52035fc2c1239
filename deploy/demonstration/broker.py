"""The embedded broker: amqtt, which knows MQTT 3.1.1 only. A real site uses a real one."""

from __future__ import annotations

import asyncio
import logging
import signal
import sys

from amqtt.broker import Broker


async def _serve(port: int) -> None:
    config = {
        "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{port}", "max_connections": 20}},
        "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
    }
    broker = Broker(config)
    stop = asyncio.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        asyncio.get_running_loop().add_signal_handler(number, stop.set)
    await broker.start()
    print("ready", flush=True)
    await stop.wait()
    await broker.shutdown()


if __name__ == "__main__":
    logging.disable(logging.CRITICAL)
    asyncio.run(_serve(int(sys.argv[1])))
