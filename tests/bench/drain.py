"""`python -m tests.bench.drain WAY HOST PORT COUNT`: drain a durable session in a process of its own.

WAY is `bare` (paho alone: count, settle) or `line` (broker → committed → judged → settled). With COUNT 0 the
session is only made. Prints one JSON line: seconds from connecting to the last settlement, peak memory.
"""

import json
import random
import resource
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from tests.bench import load

CLIENT_ID = "bench-gateway"
RECEIVE_MAXIMUM = 1000
GIVE_UP_S = 300.0


def bare(host: str, port: int, count: int) -> dict[str, Any]:
    """paho's own loop; the call-back counts each message and settles it."""
    seen = 0
    client = paho.Client(CallbackAPIVersion.VERSION2, CLIENT_ID, protocol=paho.MQTTv5, manual_ack=True)
    wish = Properties(PacketTypes.CONNECT)
    wish.SessionExpiryInterval = 3600
    wish.ReceiveMaximum = RECEIVE_MAXIMUM

    def on_connect(client: paho.Client, *_rest: Any) -> None:
        if not count:
            client.subscribe(
                f"{load.ROOT}/#", options=SubscribeOptions(qos=1, noLocal=True, retainHandling=1)
            )

    def on_subscribe(client: paho.Client, *_rest: Any) -> None:
        client.disconnect()

    def on_message(client: paho.Client, _data: Any, message: paho.MQTTMessage) -> None:
        nonlocal seen
        seen += 1
        client.ack(message.mid, message.qos)
        if seen == count:
            client.disconnect()

    client.on_connect, client.on_subscribe, client.on_message = on_connect, on_subscribe, on_message
    began = time.perf_counter()
    client.connect(host, port, clean_start=False, properties=wish)
    client.loop_forever()
    took_s = time.perf_counter() - began
    assert seen == count, f"{seen} of {count} messages came"
    return {"took_s": took_s}


def line(host: str, port: int, count: int) -> dict[str, Any]:
    """The gateway's whole line over a real store."""
    import gateway.live.daemon  # noqa: F401 - memory counts with all that a running gateway loads
    from gateway.core import engine
    from gateway.edges.clock import WallClock, real_mono_ms
    from gateway.edges.mqtt import MqttSource, Options
    from gateway.edges.sqlite import open_writer
    from gateway.pipeline import Parts, Pipeline

    site = load.site()
    options = Options(host, port, CLIENT_ID, load.ROOT, (f"{load.ROOT}/#",), receive_maximum=RECEIVE_MAXIMUM)
    with tempfile.TemporaryDirectory() as folder:
        began = time.perf_counter()
        journal = open_writer(Path(folder), site_id=site.id, clock_kind="wall")
        source = MqttSource(options, session=0, monotonic=time.monotonic, draw=random.random)
        clock = WallClock(always_trusted=True)
        pipeline = Pipeline(Parts(site, load.ROOT, "bench", journal, source, clock, engine, real_mono_ms))
        pipeline.begin()
        source.start()
        while source.facts()["settled"] < count and time.perf_counter() - began < GIVE_UP_S:
            pipeline.step(0.1)
        pipeline.end()
        took_s = time.perf_counter() - began
        facts = source.facts()
        n, _, _ = journal.last_stamp()
        judged = journal.load_judge()[0].n
        source.stop()
        journal.close()
    assert facts["settled"] == count, f"{facts['settled']} of {count} messages were settled"
    assert judged == n >= count, f"{judged} of {n} journal entries are judged, {count} were sent"
    return {"took_s": took_s, "entries": n}


def main() -> None:
    """As the module says."""
    way, host, port, count = sys.argv[1:]
    found = {"bare": bare, "line": line}[way](host, int(port), int(count))
    peak_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    sys.stdout.write(json.dumps({**found, "peak_mb": peak_kb / 1024}) + "\n")


if __name__ == "__main__":
    main()
