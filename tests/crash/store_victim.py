"""A writer that is to be killed: `python -m tests.crash.store_victim DIR`; says what it has committed."""

import sys
from pathlib import Path

from gateway.core.inputs import Condition
from gateway.ports import Cursor
from tests.contracts.store import notice, reading, writer_of

PER_BATCH = 25
PROBES = 7


def main() -> None:
    """Add batch after batch, each with an event, a notice and a total; print each batch once it is committed.

    Begins one batch before the last one said to be committed: as a broker that was not told delivers again.
    """
    directory, begin = Path(sys.argv[1]), int(sys.argv[2])
    writer = writer_of(directory)
    k = max(0, begin - 1)
    while True:
        batch = [reading(k * PER_BATCH + i, k / 8, f"bed-{i % PROBES}/mid") for i in range(PER_BATCH)]
        with writer.atomic():
            added = writer.add_readings(k + 1, k + 1, batch)
            if added.entries:
                entry = writer.add_event(k + 1, k + 1, Condition("broker", k % 2 == 0, str(k)))
                writer.save_effects([notice((entry.n, 0), k)], Cursor(entry.n, k + 1), b"state %d" % k)
                writer.note_counts(batches=1)
        sys.stdout.write(f"{k}\n")
        sys.stdout.flush()
        if k % 10 == 9:
            writer.checkpoint()
        k += 1


if __name__ == "__main__":
    main()
