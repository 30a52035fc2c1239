"""What the command line asks of the gateway that runs: its site file again, accounts, links, tokens."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from gateway.edges import control
from gateway.errors import NoAnswer, SettingsFault

WITHIN_S = 30.0


def ask(store: Path, request: dict[str, Any], nobody: str = "start it first") -> list[str]:
    """What the gateway that holds the store says to it; `nobody` is what to know where none runs.

    Raises SettingsFault for what cannot be (nothing has changed then), NoAnswer.
    """
    try:
        reply = control.ask(store, request, WITHIN_S)
    except TimeoutError as fault:
        raise NoAnswer(f"the gateway did not answer within {WITHIN_S:g} s") from fault
    except OSError as fault:
        raise NoAnswer(f"no gateway runs on this store; {nobody}") from fault
    if reply.get("again"):
        raise NoAnswer(str(reply.get("fault")))
    if "fault" in reply:
        raise SettingsFault(str(reply["fault"]))
    return [str(line) for line in reply["said"]]
