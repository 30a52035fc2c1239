"""What `check` found in the site file: each fault on a line of its own, or as rows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol

from gateway.show import documents, paper, words


class Fault(Protocol):
    """One thing wrong in the site file."""

    @property
    def file(self) -> str: ...
    @property
    def line(self) -> int | None: ...
    @property
    def key(self) -> str: ...
    @property
    def value(self) -> str | None: ...
    @property
    def expected(self) -> str: ...
    @property
    def blocks(self) -> bool: ...


def show(faults: Sequence[Fault], warnings: Sequence[Fault], *, as_json: bool) -> None:
    """Print all of them, faults first, and how many there are."""
    if as_json:
        found = [_row(one, "fault") for one in faults] + [_row(one, "warning") for one in warnings]
        paper.as_json(documents.document(None, found))
        return
    for kind, some in (("fault", faults), ("warning", warnings)):
        for one in some:
            print(f"{kind}: {one}")
    counts = f"{words.count(len(faults), 'fault')}, {words.count(len(warnings), 'warning')}"
    print(counts if faults or warnings else "no faults")


def _row(fault: Fault, kind: str) -> dict[str, Any]:
    return {
        "kind": kind,
        "file": fault.file,
        "line": fault.line,
        "key": fault.key,
        "value": fault.value,
        "expected": fault.expected,
        "blocks": fault.blocks,
    }
