"""The site file read again in a running gateway: a good one takes effect as an input, a bad one never."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from gateway.errors import GatewayError, SettingsFault
from gateway.settings import Settings

log = logging.getLogger(__name__)

#: Tables that belong to connections: they are made once, at the start.
AT_START = ("broker", "links", "series", "keep_raw_days", "web")


class Reload:
    """`load` reads the site file and raises SettingsFault; `adopt` makes its site and phones hold from now
    on and returns the journal number of the change."""

    def __init__(
        self, now: Settings, load: Callable[[], Settings] | None, adopt: Callable[[Settings], int]
    ) -> None:
        self._now, self._load, self._adopt = now, load, adopt
        self._one = threading.Lock()

    def asked(self, _request: dict[str, Any]) -> dict[str, Any]:
        """Answer one request: {"said": lines} or {"fault"}. Any thread may call it."""
        try:
            with self._one:
                said = self._reload()
        except SettingsFault as fault:
            log.error("the site file was read again and is not used:\n%s", fault)
            return {"fault": str(fault)}
        except GatewayError as fault:
            log.error("the site file could not be taken over: %s", fault)
            return {"fault": str(fault), "again": True}
        for line in said:
            log.info("site file read again: %s", line)
        return {"said": said}

    def _reload(self) -> list[str]:
        if self._load is None:
            raise SettingsFault("this gateway was started without a site file to read again")
        fresh, now = self._load(), self._now
        if fresh.site.id != now.site.id:
            raise SettingsFault(
                f"site.id = {fresh.site.id!r}: this store belongs to {now.site.id!r}; expected the same"
            )
        said = [f"warning: {warning}" for warning in fresh.warnings]
        if (fresh.site, fresh.phones) == (now.site, now.phones):
            said.append("nothing has changed about places, probes, limits, people and phones")
        else:
            said.append(f"in force from journal entry {self._adopt(fresh)}")
        later = [name for name in AT_START if getattr(fresh, name) != getattr(now, name)]
        if later:
            said.append(f"{', '.join(later)}: takes effect when the gateway is started again")
        self._now = replace(now, site=fresh.site, phones=fresh.phones)
        return said
