"""What each alarm's sheet says."""

from __future__ import annotations

from typing import NamedTuple


class Sheet(NamedTuple):
    """One alarm as it was thought through before anybody is called for it."""

    cause: str
    consequence: str
    action: str
    time_to_act: str
    priority: str
    owner: str
