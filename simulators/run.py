"""The running simulation: drives a World by a clock and publishes what its probes say."""

import json
import queue
import signal
import sys
import threading
import tomllib
from collections.abc import Mapping
from pathlib import Path
from types import FrameType
from typing import Any, TextIO

from simulators import truth
from simulators.clock import wall_s
from simulators.mishaps import Link, Timed
from simulators.options import Options, read_options
from simulators.orders import BadOrder, read_payload
from simulators.plan import SiteFault
from simulators.run_mqtt import Line
from simulators.world import World

PAUSE_S = 0.1
STEP_MOST_S = 300.0
"""A late or fast clock is caught up in steps of at most this, so that orders are heard between."""
JUDGED_WITHIN_S = 60.0
FILE_MOST_BYTES = 4_000_000
PROGRAMME_FILES_MOST = 20


def main(words: list[str] | None = None) -> int:
    """Run what was typed; the exit code."""
    options = read_options(sys.argv[1:] if words is None else words)
    try:
        site = read_site(options.site)
        starts = _read_toml(options.start) if options.start else {}
        run = Run(site, starts, options)
    except (SiteFault, OSError) as fault:
        print(f"{options.site}: {fault}", file=sys.stderr)
        return 2
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, run.ask_to_stop)
    return run.go()


class Run:
    """One run from start to stop."""

    def __init__(self, site: Mapping[str, Any], starts: Mapping[str, Any], options: Options) -> None:
        self.options = options
        now_s = wall_s()
        self._began_wall_s = now_s
        self._speed = options.speed or (60.0 if options.clock == "scaled" else 1.0)
        self._started_s = now_s if options.started_s is None else options.started_s
        self._epoch_s = self._started_s if options.epoch_s is None else options.epoch_s
        self.world = World(
            site,
            options.seed,
            start_s=self._first_s(now_s),
            starts=starts,
            turn_every_h=options.turn_every_h,
            forget=options.forget,
        )
        self._began_s = self.world.now_s
        plan = self.world.plan
        self._link = Link(options.mishaps, options.seed)
        self._probe_on = {probe.topic: probe.id for probe in reversed(plan.probes)}
        self._line = Line(f"{plan.root}-simulators-{options.seed}"[:64], plan.root, options.wait_judged)
        self._stop = threading.Event()
        self._orders_done = self._orders_refused = self._late_judgements = 0
        self._truth: TextIO | None = None

    def ask_to_stop(self, _number: int, _frame: FrameType | None) -> None:
        """A signal: finish the present step, hand over what is left, leave."""
        self._stop.set()

    def go(self) -> int:
        """Connect, run, leave; the exit code."""
        plan = self.world.plan
        self._line.open(plan.host, plan.port)
        try:
            if not self._connected():
                print(f"no broker at {plan.host}:{plan.port}", file=sys.stderr)
                return 0 if self._stop.is_set() else 3
            if self.options.truth is None:
                self._run()
            else:
                with self.options.truth.open("w", encoding="utf-8") as self._truth:
                    self._run()
        finally:
            self._line.close()
        return 0

    def _connected(self) -> bool:
        waited_s = 0.0
        while not self._line.up.wait(PAUSE_S) and not self._stop.is_set():
            waited_s += PAUSE_S
            if waited_s > self.options.patience_s:
                break
        return self._line.up.is_set()

    def _run(self) -> None:
        self._greet()
        step = self._step_by_topic if self.options.clock == "topic" else self._step_by_wall
        while not self._stop.is_set() and not self._is_over():
            self._take_orders()
            step()
            self._note_truth()
        for message in self._link.drain():
            self._line.publish(message.topic, message.payload)
        self.world.finish()
        self._note_truth()
        taken = self._line.settled(5.0)
        self._say_farewell(taken)

    def _sim_s(self, wall: float) -> float:
        """C4: simulated time is EPOCH + SPEED x (wall - STARTED); the wall clock is speed 1 from itself."""
        if self.options.clock == "wall":
            return wall
        return self._epoch_s + self._speed * (wall - self._started_s)

    def _first_s(self, wall: float) -> float:
        """Where the history begins; a clock that is only published begins on a whole step of 10 s."""
        if self.options.clock != "topic":
            return self._sim_s(wall)
        return self._epoch_s if self.options.epoch_s is not None else wall // 10 * 10

    def _is_over(self) -> bool:
        seconds, hours = self.options.seconds, self.options.hours
        if seconds is not None and wall_s() - self._began_wall_s >= seconds:
            return True
        return hours is not None and self.world.now_s - self._began_s >= hours * 3600.0 - 1e-6

    def _step_by_wall(self) -> None:
        behind_s = self._sim_s(wall_s()) - self.world.now_s
        if behind_s > 0:
            self.world.step(min(behind_s, STEP_MOST_S))
            self._publish_due()
        if behind_s < STEP_MOST_S:
            self._stop.wait(PAUSE_S)

    def _step_by_topic(self) -> None:
        began_s = wall_s()
        self.world.step(self.options.step_s)
        self._publish_due()
        now_s = round(self.world.now_s, 3)
        self._line.publish(f"{self.world.plan.root}/clock", json.dumps({"t": now_s}).encode())
        self._line.mark()
        while not self._line.has_room(1.0) and not self._stop.is_set():
            pass
        if self.options.wait_judged and not self._line.wait_judged(now_s, JUDGED_WITHIN_S):
            self._late_judgements += 1
        if self.options.speed:
            self._stop.wait(max(0.0, self.options.step_s / self.options.speed - (wall_s() - began_s)))

    def _publish_due(self) -> None:
        for reading in self.world.readings():
            self._link.send(Timed(self.world.now_s, reading.topic, reading.payload))
        for message in self._link.due(self.world.now_s):
            self._line.publish(message.topic, message.payload)

    def _take_orders(self) -> None:
        while True:
            try:
                payload = self._line.orders.get_nowait()
            except queue.Empty:
                return
            at = truth.rfc3339(self.world.now_s)
            try:
                order = read_payload(payload)
                why_not = self.world.do(order)
            except BadOrder as fault:
                why_not = str(fault)
            if why_not is None:
                self._orders_done += 1
                print(f"{at} order done: {ascii(payload)[2:-1]}", flush=True)
            else:
                self._orders_refused += 1
                print(f"{at} order refused ({self._orders_refused} so far): {why_not}", flush=True)

    def _note_truth(self) -> None:
        lines = self.world.truth()
        faults, self._link.faults = self._link.faults, []
        lines += [truth.link_fault(fault, self._probe_on.get(fault.topic)) for fault in faults]
        for line in lines:
            if line["kind"] in ("turn", "break"):
                print(f"truth: {json.dumps(line)}", flush=True)
        if self._truth is not None and lines:
            self._truth.writelines(json.dumps(line, separators=(",", ":")) + "\n" for line in lines)
            self._truth.flush()

    def _greet(self) -> None:
        world, plan, options = self.world, self.world.plan, self.options
        pace = f" x {self._speed:g}" if options.clock == "scaled" else ""
        order = json.dumps({"turn": next(iter(world.beds), "bed")})
        print(
            f"simulating {len(world.beds)} beds, {len(world.kilns)} kilns, {len(plan.probes)} probes"
            f" to {plan.host}:{plan.port} under {plan.root}/,"
            f" seed {options.seed}, clock {options.clock}{pace}, from {truth.rfc3339(world.now_s)}\n"
            f"orders go to {plan.root}/sim/command, such as {order}",
            flush=True,
        )

    def _say_farewell(self, taken: bool) -> None:
        line = self._line
        not_taken = "" if taken else " (the last not taken by the broker)"
        late = f", {self._late_judgements} steps not judged in time" if self.options.wait_judged else ""
        print(
            f"stopped at {truth.rfc3339(self.world.now_s)}: {line.published} messages handed over{not_taken},"
            f" {line.refused} not sent for want of room; orders: {self._orders_done} done,"
            f" {self._orders_refused} refused, {line.orders_lost} lost{late}",
            flush=True,
        )


def read_site(path: Path) -> dict[str, Any]:
    """The site file with the programmes of the files it names; raises SiteFault or OSError."""
    site = _read_toml(path)
    about = site.get("site", {})
    names = about.get("programme_files", []) if isinstance(about, dict) else []
    if not isinstance(names, list) or len(names) > PROGRAMME_FILES_MOST:
        raise SiteFault(f"programme_files = {str(names)[:80]}: expected at most {PROGRAMME_FILES_MOST} names")
    own = site.get("programme", {})
    for name in names:
        told = _read_toml(path.parent / str(name)).get("programme", {})
        if isinstance(told, dict) and isinstance(own, dict):
            own = {**told, **own}
    return {**site, "programme": own}


def _read_toml(path: Path) -> dict[str, Any]:
    with path.open("rb") as file:
        text = file.read(FILE_MOST_BYTES + 1)
    if len(text) > FILE_MOST_BYTES:
        raise SiteFault(f"more than {FILE_MOST_BYTES} bytes")
    try:
        return tomllib.loads(text.decode())
    except ValueError as fault:
        raise SiteFault(f"{path.name}: {fault}: expected TOML") from fault
