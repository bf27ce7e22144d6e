"""A cluster of processes on this machine, each started and ended by its own number."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
PATIENCE_S = 120  # a busy machine


class Machines:
    """A scheduler and its workers; `processes` are the workers' by number."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.processes: list[subprocess.Popen[bytes]] = []
        self.file = folder / "scheduler.json"
        self.scheduler = self._start("dask_scheduler", "--host", "127.0.0.1", "--port", "0")
        until = time.monotonic() + PATIENCE_S
        while not self.file.exists() and time.monotonic() < until:
            time.sleep(0.05)
        self.address: str = json.loads(self.file.read_text(encoding="utf-8"))["address"]

    def add(self, count: int = 1, path: str = str(ROOT)) -> None:
        """Start workers that find their modules in `path`."""
        for _ in range(count):
            where = ("--local-directory", str(self.folder), "--host", "127.0.0.1", "--death-timeout", str(PATIENCE_S))
            self.processes.append(self._start("dask_worker", "--no-nanny", "--nthreads", "1", *where, path=path))

    def kill(self, number: int) -> None:
        """End a worker as a power cut does."""
        self.processes[number].kill()
        self.processes[number].wait(PATIENCE_S)

    def end(self) -> None:
        """End all of them."""
        for one in (*self.processes, self.scheduler):
            one.kill()
            one.wait(PATIENCE_S)

    def _start(self, program: str, *options: str, path: str = str(ROOT)) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.{program}", "--no-dashboard", *options]
        command += ["--scheduler-file", str(self.file)]
        log = (self.folder / f"{program}{len(self.processes)}.log").open("wb")
        with log:
            return subprocess.Popen(
                command, cwd=self.folder, env={**os.environ, "PYTHONPATH": path}, stdout=log, stderr=log
            )
