"""Getting a page of lines into the server, whatever one line or the whole of it is refused for."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from typing import NamedTuple

from gateway.errors import SeriesFault
from gateway.ports import Series

#: A server that takes not one of so many lines has a fault of its own: nothing is kept aside for that (ours).
REFUSED_IN_A_ROW = 50
#: A batch that was halved is doubled again after so many whole ones: the limit may have gone (ours).
GROW_AFTER = 20


class Stopped(Exception):
    """The mirror was told to stop in the middle of a job."""


class Refused(NamedTuple):
    """One line, and the server's reason."""

    line: str
    reason: str


class Job:
    """Lines on their way: `parts` are still to be written, `refused` are those the server refused.

    `known_bad`: they were refused before, any number may be again. What is done stays done when the server
    goes away in between: a bad link must not make a job begin anew for ever.
    """

    def __init__(self, lines: Sequence[str], *, known_bad: bool = False) -> None:
        self.parts: deque[Sequence[str]] = deque([lines] if lines else [])
        self.refused: list[Refused] = []
        self.known_bad = known_bad
        self.count = len(lines)


class Sender:
    """Remembers how much the server takes at once. `stopping` is asked before each request."""

    def __init__(self, series: Series, most: int, stopping: Callable[[], bool]) -> None:
        self._series, self._most, self.stopping = series, most, stopping
        self.size = most  #: lines in one request, at present
        self.taken = 0  #: requests the server has taken
        self._whole = 0
        self._in_a_row = 0

    def send(self, job: Job) -> None:
        """Returns once each line is written or refused by itself, in order; raises SeriesFault for what is
        not the lines' fault, and Stopped. Called again it goes on where it was."""
        parts = job.parts
        while parts:
            if self.stopping():
                raise Stopped
            if len(parts[0]) > self.size:
                parts.extendleft(reversed(self._cut(parts.popleft())))
            part = parts[0]
            try:
                self._series.write(part)
            except SeriesFault as fault:
                if fault.kind not in ("line", "size"):
                    raise
                if len(part) > 1:
                    parts.popleft()
                    parts.extendleft(reversed(self._smaller(part, fault.kind)))
                    continue
                self._refuse(job, fault)
            else:
                parts.popleft()
                self._note_written(len(part))

    def _cut(self, lines: Sequence[str]) -> list[Sequence[str]]:
        return [lines[i : i + self.size] for i in range(0, len(lines), self.size)]

    def _smaller(self, part: Sequence[str], kind: str) -> list[Sequence[str]]:
        half = (len(part) + 1) // 2
        if kind == "size":
            self.size, self._whole = half, 0
        return [part[:half], part[half:]]

    def _note_written(self, count: int) -> None:
        self.taken += 1
        self._in_a_row = 0
        if self.size < self._most and count == self.size:
            self._whole += 1
            if self._whole >= GROW_AFTER:
                self.size, self._whole = min(2 * self.size, self._most), 0

    def _refuse(self, job: Job, fault: SeriesFault) -> None:
        if not job.known_bad:
            self._in_a_row += 1
            if self._in_a_row >= REFUSED_IN_A_ROW:
                self._in_a_row -= 1  # the next time the first of them is enough
                self._together(job)
                raise SeriesFault(
                    "refused",
                    f"{REFUSED_IN_A_ROW} lines refused one after another, the last one with {fault}",
                    status=fault.status,
                )
        [line] = job.parts.popleft()
        job.refused.append(Refused(line, str(fault)))

    def _together(self, job: Job) -> None:
        """The lines were not at fault: all that were refused go again with what is left."""
        job.parts.appendleft([one.line for one in job.refused])
        job.refused.clear()
