"""MQTT topic names and filters (MQTT 5.0, section 4.7): which are well formed, which match."""

from __future__ import annotations

#: Our own bound; the standard's is 65,535 bytes.
MOST_BYTES = 256


def why_not_a_name(topic: str) -> str | None:
    """What a topic name must be and this one is not; None where it is one."""
    if not topic or len(topic.encode(errors="replace")) > MOST_BYTES:
        return f"a topic of 1 to {MOST_BYTES} bytes"
    if any(mark in topic for mark in "+#"):
        return "a topic without wildcards + and #"
    if topic.startswith("$"):
        return "a topic that does not begin with $ (the broker's own)"
    return None if _printable(topic) else "a topic without control characters"


def why_not_a_filter(topic: str) -> str | None:
    """What a topic filter must be and this one is not; None where it is one."""
    if not topic or len(topic.encode(errors="replace")) > MOST_BYTES:
        return f"a topic filter of 1 to {MOST_BYTES} bytes"
    if topic.startswith("$"):
        return "a topic filter that does not begin with $"
    levels = topic.split("/")
    alone = all(level in ("+", "#") for level in levels if "+" in level or "#" in level)
    if not alone or "#" in levels[:-1]:
        return "a topic filter with + alone between slashes and # only at its end"
    return None if _printable(topic) else "a topic filter without control characters"


def matches(topic_filter: str, topic: str) -> bool:
    """Whether the broker delivers that topic to a subscriber of that filter; `a/#` covers `a` too."""
    wanted, levels = topic_filter.split("/"), topic.split("/")
    for i, want in enumerate(wanted):
        if want == "#":
            return True
        if i >= len(levels) or want not in ("+", levels[i]):
            return False
    return len(wanted) == len(levels)


def own(root: str, topic: str) -> bool:
    """Whether the topic is one of the gateway's or the simulators' own, never a probe's."""
    kept = (f"{root}/gateway", f"{root}/clock", f"{root}/sim")
    return any(topic == name or topic.startswith(name + "/") for name in kept)


def _printable(topic: str) -> bool:
    return all(mark >= " " and mark != "\x7f" and not "\ud800" <= mark <= "\udfff" for mark in topic)
