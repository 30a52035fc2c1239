"""The simulators' only clock: the wall's, read where the running programme needs it."""

import time


def wall_s() -> float:
    """Unix seconds by this machine's clock."""
    return time.time()
