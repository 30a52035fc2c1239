"""How probes share topics: one message for a topic, filled by the pointers of the probes on it."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from simulators import encode
from simulators.plan import SiteFault
from simulators.probe import Probe, Sample


@dataclass
class Post:
    """One topic and the probes that speak there; the first sets the rhythm."""

    topic: str
    members: list[Probe]

    def due(self, now_s: float) -> Iterator[tuple[bytes, float, str, float]]:
        """(payload, measured at, probe, value) of each message due up to now; the first probe's."""
        first = self.members[0]
        while first.next_s <= now_s:
            at_s = first.next_s
            first.next_s += first.plan.every_s
            said = [(probe, sample) for probe in self.members if (sample := probe.sample(at_s))]
            if said:
                speaker, sample = said[0]
                yield self._payload(said), sample.clock_s, speaker.plan.id, _shown(speaker, sample)

    def _payload(self, said: list[tuple[Probe, Sample]]) -> bytes:
        probe, sample = said[0]
        if probe.plan.payload == "number":
            return encode.number(sample.value, _decimals(probe))
        members: dict[str, encode.Json] = {}
        for speaker, heard in said:
            members[speaker.plan.value] = _shown(speaker, heard)
        if "" in members:
            return encode.document([("", members[""])])
        for speaker, heard in said:
            plan = speaker.plan
            beside = (
                (plan.time, heard.clock_s),
                (plan.sequence, heard.sequence),
                (plan.battery, heard.battery),
            )
            for pointer, value in beside:
                if pointer:
                    members.setdefault(pointer, value)
        return encode.document(members.items())


def _decimals(probe: Probe) -> int:
    gain = abs(probe.plan.to_unit[0])
    return 2 if gain >= 1.0 else 4 if gain >= 0.01 else 6


def _shown(probe: Probe, sample: Sample) -> float:
    return round(sample.value, _decimals(probe))


def posts(probes: Iterable[Probe]) -> list[Post]:
    """The posts of a site; raises SiteFault where probes on one topic do not go together."""
    by_topic: dict[str, list[Probe]] = {}
    for probe in probes:
        by_topic.setdefault(probe.plan.topic, []).append(probe)
    for topic, members in by_topic.items():
        pointers = [probe.plan.value for probe in members]
        if len(members) > 1 and any(probe.plan.payload == "number" for probe in members):
            raise SiteFault(f"topic {topic!r}: a bare number: expected one probe on it, found {len(members)}")
        if len(set(pointers)) < len(pointers):
            raise SiteFault(f"topic {topic!r}: the same value pointer twice")
        encode.document((pointer, 0) for pointer in pointers)
    return [Post(topic, members) for topic, members in by_topic.items()]
