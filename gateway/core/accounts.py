"""Who may say what to the broker: one account for the gateway, one for each probe, and mosquitto's list."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from gateway.core.site import Site

#: The gateway's own account; no probe may be called so.
GATEWAY = "gateway"

#: Where brokers of mosquitto's kind tell how many messages of all clients they threw away since their start.
DROPPED = "$SYS/broker/publish/messages/dropped"

HEAD = "# Written by `malting-gateway credentials` from the site file; changes made here are lost.\n"


class Account(NamedTuple):
    """A name to log in with, and the topics it may publish to and hear."""

    name: str
    writes: tuple[str, ...]
    reads: tuple[str, ...] = ()


def accounts(site: Site, root: str, subscribe: Sequence[str]) -> list[Account]:
    """The gateway's account, then one a probe, in the order of the site file.

    Raises ValueError, in words for whoever wrote the site file, for a probe named like the gateway and for
    a topic that an access list cannot hold (mosquitto.conf(5), acl_file: a topic ends with its line).
    """
    taken = [probe.id for probe in site.probes if probe.id == GATEWAY]
    if taken:
        raise ValueError(f"probe {GATEWAY}: expected another id; {GATEWAY} is the gateway's own account")
    found = [Account(GATEWAY, (f"{root}/gateway/#",), (*subscribe, DROPPED))]
    found += [Account(probe.id, (probe.topic,)) for probe in site.probes]
    for account in found:
        for topic in (*account.writes, *account.reads):
            if topic != topic.strip():
                raise ValueError(f"topic {topic!r}: expected no space at its ends; an access list drops it")
    return found


def access_list(found: Sequence[Account]) -> str:
    """The text of mosquitto's acl_file: what is not in it is not allowed."""
    lines = [HEAD]
    for account in found:
        lines.append(f"\nuser {account.name}\n")
        lines += [f"topic write {topic}\n" for topic in account.writes]
        lines += [f"topic read {topic}\n" for topic in account.reads]
    return "".join(lines)
