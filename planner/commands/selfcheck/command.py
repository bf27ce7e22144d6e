"""The checks in their order, with a word before those that take time."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from planner.commands.selfcheck.outcome import Check

__all__ = ["case_lines", "selfcheck"]

Tell = Callable[[str], None]
EVERY_S = 15.0


def selfcheck(tell: Tell) -> Iterator[Check]:
    """Check after check, as each is done. `tell` gets what goes on meanwhile."""
    from planner.commands.selfcheck.libraries import check_libraries
    from planner.commands.selfcheck.machine import check_machine
    from planner.commands.selfcheck.shipped import check_files

    yield check_machine(Path.cwd())
    yield check_libraries()
    yield check_files()

    from planner.commands.selfcheck.kernels import check_cache, compiled_files

    before = len(compiled_files())
    if before:
        tell("computing, some ten seconds …")
    else:
        tell("no compiled kernels yet: they are compiled now, which takes two to four minutes, and kept …")
    with _signs_of_life(tell):
        cases = check_cases()
    yield cases

    from planner.commands.selfcheck.trial import check_trial

    with _signs_of_life(tell):
        trial = check_trial()
    yield trial
    yield check_cache(before)


def check_cases() -> Check:
    """Hand-calculated and published cases against the equations; those that do not hold, in full."""
    from planner.commands.selfcheck.cases import known_cases

    results = known_cases()
    details = [line for case in results if not case.passed for line in case.lines()]
    held = sum(case.passed for case in results)
    return Check("known cases", "FAIL" if details else "ok", f"{held} of {len(results)} hold", details)


def case_lines() -> tuple[list[str], bool]:
    """Every case with its value, expectation and source, and whether all hold."""
    from planner.commands.selfcheck.cases import known_cases

    results = known_cases()
    held = sum(case.passed for case in results)
    lines = [line for case in results for line in case.lines()]
    return [*lines, f"{held} of {len(results)} cases hold"], held == len(results)


@contextmanager
def _signs_of_life(tell: Tell) -> Iterator[None]:
    """Say now and then that work goes on, since compiling takes minutes without a word."""
    done, started = threading.Event(), time.monotonic()

    def talk() -> None:
        while not done.wait(EVERY_S):
            tell(f"still at work after {time.monotonic() - started:.0f} s …")

    teller = threading.Thread(target=talk, daemon=True)
    teller.start()
    try:
        yield
    finally:
        done.set()
        teller.join()
