"""The timer: wakes the loop and decides nothing. What is due is computed from the journal."""

from __future__ import annotations

from collections.abc import Callable

from apscheduler.schedulers.background import BackgroundScheduler


class Timer:
    """Calls `wake` every so many real seconds; a wake-up that comes late still comes, once."""

    def __init__(self, wake: Callable[[], None], every_s: float) -> None:
        # APScheduler's own default skips a job that is more than 1 s late, with a warning only.
        self._scheduler = BackgroundScheduler(
            job_defaults={"misfire_grace_time": None, "coalesce": True, "max_instances": 1}, timezone="UTC"
        )
        self._scheduler.add_job(wake, "interval", seconds=every_s)

    def start(self) -> None:
        """Begin to wake."""
        self._scheduler.start()

    def stop(self) -> None:
        """No wake-up begins after this returns."""
        self._scheduler.shutdown(wait=True)
