"""The gateway on a disk that may stop answering: `python -m tests.cli.stuck …`, words as for `gateway`.

While there is a named pipe at STUCK_AT, a commit waits in the kernel for somebody who opens it, as it waits
for a disk that hangs. All else is the gateway itself.
"""

import os
import sqlite3
import sys
from functools import partial
from pathlib import Path
from typing import Any

from gateway.cli.main import main
from gateway.edges.sqlite import open_writer
from gateway.live import daemon

STUCK_AT = Path(os.environ["STUCK_AT"])


class Disk(sqlite3.Connection):
    """Commits when the pipe lets it."""

    def execute(self, sql: str, *values: Any) -> sqlite3.Cursor:
        """As sqlite3's."""
        if sql == "COMMIT" and STUCK_AT.is_fifo():
            STUCK_AT.read_bytes()
        return super().execute(sql, *values)


if __name__ == "__main__":
    setattr(daemon, "open_writer", partial(open_writer, connection=Disk))  # noqa: B010 - not exported
    sys.exit(main(sys.argv[1:]))
