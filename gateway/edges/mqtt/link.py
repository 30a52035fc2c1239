"""One connection to the broker, from CONNECT to its end. paho is used here and nowhere else.

A new paho client is made for each connection, so that nothing of an old one (packet numbers, half-sent
messages) can reach the broker on a new one. It is driven from outside by paho's `loop_read`, `loop_write`
and `loop_misc`: the thread is ours, and an exception in a call-back comes out where we call it.
"""

from __future__ import annotations

import json
import ssl
from collections.abc import Callable, Sequence
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.subscribeoptions import SubscribeOptions

from gateway.core.accounts import DROPPED
from gateway.edges.mqtt.inbox import Inbox
from gateway.edges.mqtt.line import Line
from gateway.edges.mqtt.options import Options
from gateway.edges.mqtt.publication import PUBLISH, message, settlements

V5, V311 = MQTTProtocolVersion.MQTTv5, MQTTProtocolVersion.MQTTv311
NAMES = {V5: "5", V311: "3.1.1"}

#: Reason codes of MQTT 5, section 2.4; 1 is what a broker for 3.1.1 answers to any other version.
_TAKEN_OVER = 0x8E
_UNSUPPORTED = (0x84, 0x01)
_RETAIN_ON_NEW_SUBSCRIPTION = 1

#: A count of so many digits is none.
_DIGITS = 19

#: Packets handled in one go, before the writer is woken and its settlements are sent.
_PACKETS = 250

#: Fields of contract C5, null: all that is known of a gateway that is gone.
_LOST = json.dumps(
    {"state": "lost"}
    | dict.fromkeys(("at", "received", "settled", "committed", "judged", "judged_to", "notices_due"))
).encode()


class _Client(paho.Client):
    """paho over a `Line`. It overrides where paho makes its socket, and what of that concerns TLS."""

    def _create_socket(self) -> Any:
        return Line(super()._create_socket())  # type: ignore[arg-type]

    def _ssl_wrap_socket(self, tcp_sock: Any) -> ssl.SSLSocket:
        # paho leaves a socket whose handshake failed to the garbage collector. The context checks the name.
        context = self._ssl_context
        assert context is not None and context.check_hostname  # noqa: S101, PT018 - `_tls` made it
        secure = context.wrap_socket(tcp_sock, server_hostname=self._host, do_handshake_on_connect=False)
        try:
            secure.settimeout(self._connect_timeout)
            secure.do_handshake()
        except BaseException:
            secure.close()
            raise
        return secure


class Link:
    """`ended` says why it is over, `given_up` that it was us who ended it.

    `ready`: the broker has accepted and subscribed us. `session_present` is None until it has answered.
    `epoch` marks every message that came over this connection. `asks`: whether the broker is asked what it
    threw away, which it may refuse; `asked` while it has not answered; `dropped` is what it told last.
    """

    def __init__(
        self, options: Options, version: MQTTProtocolVersion, epoch: int, inbox: Inbox, asks: bool = True
    ) -> None:
        self.asked = False
        self.dropped: int | None = None
        self._asks = asks
        self.epoch = epoch
        self.version = version
        self.session = 0
        self.session_present: bool | None = None
        self.ready = False
        self.ended: str | None = None
        self.taken_over = False
        self.unsupported = False
        self.given_up = False
        self.received = 0
        self._options = options
        self._inbox = inbox
        self._accepted: Callable[[Link], None] = _nothing
        self._client = _client(options, version)
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_disconnect = self._on_disconnect
        # With this set paho leaves its packets to our `flush` instead of sending each by itself.
        self._client.on_socket_register_write = _nothing

    def open(self, accepted: Callable[[Link], None]) -> None:
        """Connect and ask to be let in. `accepted` is called once, before the first message.

        Raises OSError (also for TLS and names that do not resolve) or ValueError.
        """
        self._accepted = accepted
        options = self._options
        properties = None
        if self.version == V5:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            properties.SessionExpiryInterval = options.session_expiry_s
            properties.ReceiveMaximum = options.receive_maximum
        # paho takes a clean start for MQTT 5 only; for 3.1.1 it is in the client's clean_session.
        clean = False if self.version == V5 else paho.MQTT_CLEAN_START_FIRST_ONLY
        self._client.connect(
            options.host, options.port, options.keepalive_s, clean_start=clean, properties=properties
        )

    @property
    def line(self) -> Line | None:
        """The socket, while there is one."""
        return self._client.socket()  # type: ignore[return-value]

    def read(self) -> None:
        """Handle some of what has come, as long as the inbox has room. Raises OSError or Malformed."""
        line = self.line
        filled = False
        for _ in range(_PACKETS):
            if line is None or self.ended is not None or self._inbox.full:
                return
            packet = line.packet()
            if packet is None:
                if filled:
                    break
                line.fill()
                filled = True
            elif packet[0] & 0xF0 == PUBLISH:
                found = message(*packet, self.version == V5, self.epoch, self.session)
                if found.topic == DROPPED:
                    if found.payload.isdigit() and len(found.payload) < _DIGITS:
                        self.dropped = int(found.payload)
                    continue
                self.received += 1
                self._inbox.put(found)
            else:
                self._client.loop_read()
        if line is not None and line.over:
            self._client.loop_read()

    def settle(self, mids: Sequence[int]) -> None:
        """Tell the broker, in this order, that it may forget these."""
        line = self.line
        if line is not None:
            line.send(settlements(mids))

    def publish(self, body: bytes) -> None:
        """The retained status."""
        self._client.publish(self._options.status_topic, body, qos=1, retain=True)

    def misc(self) -> None:
        """Keep the connection alive; to be called about once a second."""
        self._client.loop_misc()

    def flush(self) -> None:
        """Send what waits; raises OSError if the connection is broken."""
        if self._client.want_write():
            self._client.loop_write()
        line = self.line
        if line is not None and line.backlog:
            line.flush()

    def close(self, orderly: bool) -> None:
        """End it. In order, the broker does not publish the last will; else it does."""
        line = self.line
        if line is None:
            return
        if orderly:
            self._client.disconnect()
            self._client.loop_write()
        line.close()

    def _on_connect(
        self, client: paho.Client, _data: Any, flags: paho.ConnectFlags, reason: Any, _properties: Any
    ) -> None:
        if reason.is_failure:
            self.unsupported = reason.value in _UNSUPPORTED
            self.ended = f"the broker refused us: {reason}"
            return
        self.session_present = bool(flags.session_present)
        self._accepted(self)
        if self.version == V5:
            # Our own status must not come back to us; 3.1.1 cannot ask for that.
            wish = SubscribeOptions(qos=1, noLocal=True, retainHandling=_RETAIN_ON_NEW_SUBSCRIPTION)
            client.subscribe([(topic, wish) for topic in self._options.subscribe])
        else:
            client.subscribe([(topic, 1) for topic in self._options.subscribe])

    def _on_subscribe(
        self, client: paho.Client, _data: Any, _mid: int, reasons: list[Any], _properties: Any
    ) -> None:
        if self.asked:
            self.asked = False  # allowed or not: what is not told is not watched
            return
        refused = [
            topic
            for topic, reason in zip(self._options.subscribe, reasons, strict=False)
            if reason.is_failure
        ]
        if refused:
            self.ended = f"the broker refused the subscription to {', '.join(refused)}"
        self.ready = not refused
        if self.ready and self._asks:
            self.asked = True
            client.subscribe(DROPPED)

    def _on_disconnect(
        self, _client: paho.Client, _data: Any, flags: paho.DisconnectFlags, reason: Any, _properties: Any
    ) -> None:
        self.taken_over = flags.is_disconnect_packet_from_server and reason.value == _TAKEN_OVER
        self.ended = self.ended or f"the connection ended: {reason}"


def _nothing(*_args: object) -> None:
    """For a call-back that must be there."""


def _client(options: Options, version: MQTTProtocolVersion) -> _Client:
    client = _Client(
        CallbackAPIVersion.VERSION2,
        options.client_id,
        clean_session=None if version == V5 else False,
        protocol=version,
        reconnect_on_failure=False,
    )
    client.connect_timeout = options.connect_timeout_s
    client.max_queued_messages_set(100)
    client.will_set(options.status_topic, _LOST, qos=1, retain=True)
    if options.username is not None:
        client.username_pw_set(options.username, options.password)
    if options.tls:
        client.tls_set_context(_tls(options))
    return client


def _tls(options: Options) -> ssl.SSLContext:
    context = ssl.create_default_context(cafile=options.ca_file)
    if options.certificate_file is not None:
        context.load_cert_chain(options.certificate_file, options.key_file)
    return context
