"""How a good file is damaged, and how a harness goes on for minutes.

Every harness has a short version that runs with all tests, and one that goes on for FUZZ_SECONDS, ten minutes unless
the environment says otherwise. They are marked `fuzz` and run by hand, one file at a time:

    FUZZ_SECONDS=600 python -m pytest -m fuzz -s tests/fuzz/test_rasters.py
"""

from __future__ import annotations

import faulthandler
import io
import os
import random
import resource
import time
import zipfile
from collections.abc import Callable, Sequence

from planner.errors import Fault

SECONDS = float(os.environ.get("FUZZ_SECONDS", "600"))
LONGEST = 60.0  # s of processor time for one file
HANGS = 240  # s after which it is called a hang, with the place where it hangs
Try = Callable[[str, random.Random], None]


def damaged(data: bytes, rng: random.Random, tokens: Sequence[bytes] = (b"\0",)) -> bytes:
    """The bytes with a few cuts, overwrites, repeats and insertions."""
    for _ in range(rng.choice((1, 1, 2, 5, 20))):
        at = rng.randrange(len(data) + 1)
        length = rng.choice((1, 1, 4, 16, 200))
        kind = rng.randrange(5)
        if kind == 0:
            data = data[:at] + data[at + length :]
        elif kind == 1:
            data = data[:at] + rng.randbytes(length) + data[at + length :]
        elif kind == 2:
            data = data[:at] + rng.choice(tokens) + data[at:]
        elif kind == 3:
            data = data[:at] + data[at : at + length] * rng.choice((2, 50)) + data[at + length :]
        else:
            data = data[:at] + bytes(byte ^ (1 << rng.randrange(8)) for byte in data[at : at + 1]) + data[at + 1 :]
    return data


def damaged_inside(data: bytes, rng: random.Random, tokens: Sequence[bytes]) -> bytes:
    """A zip file of which one part is damaged and packed again."""
    file = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new:
        chosen = rng.choice(old.namelist())
        for name in old.namelist():
            new.writestr(name, damaged(old.read(name), rng, tokens) if name == chosen else old.read(name))
    return file.getvalue()


def clear(faults: Sequence[Fault]) -> None:
    """Every fault has its four parts, none of them endless, and steers no terminal."""
    assert faults
    for fault in faults:
        assert fault.file and fault.place and fault.found and fault.expected, fault
        assert len(str(fault)) < 20_000


def for_minutes(attempt: Try, names: Sequence[str]) -> None:
    """Damaged files of each name in turn until the time is over; a failure says how to do it again."""
    until, seed, slowest = time.monotonic() + SECONDS, 0, (0.0, "", 0)
    while time.monotonic() < until:
        for name in names:
            faulthandler.dump_traceback_later(HANGS, exit=True)
            started = time.process_time()
            try:
                attempt(name, random.Random(seed))
            except BaseException as error:
                error.add_note(f"attempt({name!r}, random.Random({seed}))")
                raise
            slowest = max(slowest, (time.process_time() - started, name, seed))
        seed += 1
    faulthandler.cancel_dump_traceback_later()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(
        f"{seed * len(names)} files, the slowest {slowest[0]:.2f} s ({slowest[1]}, seed {slowest[2]}), peak {peak} MB"
    )
    assert slowest[0] < LONGEST
