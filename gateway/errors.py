"""Faults by whose they are. Anything else that is raised is a fault of the gateway itself."""

from __future__ import annotations


class GatewayError(Exception):
    """The base of every fault the gateway knows about; its text is for people."""


class SettingsFault(GatewayError):
    """The site file or the command line is wrong: the person who wrote it can mend it. Exit code 2."""


class StoreFault(GatewayError):
    """The store cannot keep or give what was asked."""


class StoreFull(StoreFault):
    """The disk is full: nothing is settled until there is room again."""


class StoreHeld(StoreFault):
    """Another process holds the writer's place."""


class StoreMismatch(StoreFault):
    """The store belongs to another site, kind of clock or newer version."""


class NoAnswer(GatewayError):
    """Neither a daemon nor the writer's place could be had in time. Exit code 3."""


class DeliveryFault(GatewayError):
    """A phone was not reached. `retry_after_s` is what the other side asked for; `gone` means never again."""

    def __init__(
        self, text: str, *, status: int | None = None, retry_after_s: float | None = None, gone: bool = False
    ) -> None:
        super().__init__(text)
        self.status = status
        self.retry_after_s = retry_after_s
        self.gone = gone


class SeriesFault(GatewayError):
    """The site's time-series server did not take what was written.

    `kind`: "line" (something in it is wrong), "size" (too much at once), "busy" (later; `retry_after_s` is
    what it asked for), "away" (no answer, or it has a fault of its own), "refused" (it knows our address,
    token or bucket not: somebody must mend the settings).
    """

    def __init__(
        self, kind: str, text: str, *, status: int | None = None, retry_after_s: float | None = None
    ) -> None:
        super().__init__(text)
        self.kind = kind
        self.status = status
        self.retry_after_s = retry_after_s
