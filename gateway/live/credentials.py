"""From a site file to a folder of credentials: for the broker, for each probe, for the gateway's phones."""

from __future__ import annotations

import socket
from collections.abc import Mapping, Sequence
from pathlib import Path

from gateway import settings
from gateway.core.accounts import accounts
from gateway.edges.credentials import Credentials
from gateway.errors import SettingsFault


def make(
    site_file: Path, environ: Mapping[str, str], folder: Path, names: Sequence[str], *, certificates: bool
) -> list[str]:
    """Make what is missing; what was made, and what wants looking at, one line each. Raises SettingsFault.

    The broker's certificate names the host of the site file, this machine, and `names`.
    """
    loaded = settings.load(site_file, environ, with_secrets=False)
    broker = loaded.broker
    try:
        found = accounts(loaded.site, broker.root, broker.subscribe)
    except ValueError as fault:
        raise SettingsFault(f"{site_file}: {fault}") from fault
    here = socket.gethostname()
    own = [broker.host, here, f"{here}.local", "localhost", "127.0.0.1"]
    made = Credentials(folder, loaded.site.id)
    made.make(found, [*own, *names], certificates=certificates)
    keys = settings.write_keys(site_file, made.gateway.parent)
    return [*made.said, *(f"made {key}" for key in keys)]
