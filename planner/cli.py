"""Commands: parse, call, print; no arithmetic. Heavy libraries are imported only by the command that needs them."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from planner import __version__, disk, offline
from planner.errors import InputError, printable
from planner.terminal import can_print

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="Which boreholes to equip with solar pumping, with what, in which order and at what cost per cubic metre. "
    "Planning grade only: no purchase before a pumping test and a water-quality test.",
)

PlanFile = Annotated[
    Path, typer.Argument(metavar="PLAN.toml", help="The plan file: every input and assumption of the run.")
]

DONE, NOTHING_ASSESSED, WRONG_INPUT, INTERNAL_FAULT = 0, 1, 2, 3
STOPPED = 130  # by the person at the terminal, as shells have it


def main() -> None:
    """Entry point: exit status 0 done, 1 nothing could be assessed, 2 wrong input, 3 internal fault."""
    offline.close()
    can_print()
    try:
        try:
            app()
        finally:
            flush_output()
    except InputError as error:
        for fault in error.faults:
            say(f"error: {fault}")
        sys.exit(WRONG_INPUT)
    except Exception as error:
        refused = disk.fault_of(error, None, kept="")
        if refused is not None:
            say(f"error: {refused}")
            sys.exit(WRONG_INPUT)
        if isinstance(error, UnicodeEncodeError) and sys.getfilesystemencoding() != "utf-8":
            found = "a system that names files in ASCII only, and a file or folder named otherwise"
            say(f"error: environment: language: found {found}; expected PYTHONUTF8=1 set before the command")
            sys.exit(WRONG_INPUT)
        import traceback

        traceback.print_exc()
        say(f"internal fault: {type(error).__name__}: {error}\nThis is a defect of the program, not of your files.")
        sys.exit(INTERNAL_FAULT)


@app.callback(invoke_without_command=True)
def options(
    version: Annotated[bool, typer.Option("--version", help="Print the version and leave.")] = False,
) -> None:
    """Options of the program itself."""
    if version:
        typer.echo(__version__)
        raise typer.Exit


@app.command()
def run(
    plan: PlanFile,
    out: Annotated[Path | None, typer.Option(help="Folder of the results; default maps/<programme>/.")] = None,
    fresh: Annotated[
        bool, typer.Option("--fresh", help="Compute everything again, whatever earlier runs left.")
    ] = False,
    workers: Annotated[int | None, typer.Option(min=1, help="Threads; default one a core.")] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS",
            help="Compute on other machines: a dask scheduler, as tcp://10.0.0.5:8786. Needs the extra cluster.",
        ),
    ] = None,
) -> None:
    """The whole job: read, screen, size, cost, rank; writes map.html, sites.csv and the rest.

    The smallest plan has two lines, [inventory] and file = "boreholes.csv". The sun is then the built-in one of any
    place on land. Better: a map of it, [rasters] solar = { file = "ghi.tif", unit = "kWh/m2/day" } (12 bands, 12 files,
    or one of the year; also diffuse and clearness_spread), or an hourly year, [weather] file = "place.epw" (EPW,
    TMY2, TMY3). [array] mounting = "single_axis" lets arrays turn with the sun.
    """
    from planner import pipeline

    try:
        with progress_bar() as progress:
            outcome = pipeline.run(
                plan, out, workers=workers, fresh=fresh, scheduler=scheduler, tell=say, progress=progress
            )
    except KeyboardInterrupt:
        say("stopped; what was finished is kept, repeat the command to go on")
        raise typer.Exit(STOPPED) from None
    for line in warnings(plan):
        say(line)
    say(f"run {outcome.run_id}: " + ", ".join(f"{count} {name}" for name, count in reversed(outcome.counts.items())))
    for told in outcome.budget:
        say(told.text())
    for line in outcome.scenarios:
        say(line)
    for severity, count in outcome.findings.items():
        say(f"findings, {severity}: {count}")
    say(f"every finding, with the text that was found: {outcome.folder / 'findings.csv'}")
    target = outcome.folder / "map.html"
    if target.is_file():
        say("Open the map in a browser:")
        typer.echo(str(target))
    if outcome.counts["not_assessed"] == sum(outcome.counts.values()):
        say("No site could be assessed; findings.csv and the reasons in sites.csv say why.")
        raise typer.Exit(NOTHING_ASSESSED)


@app.command()
def check(plan: PlanFile) -> None:
    """Read and screen the inventory only, and print what was found: by rule with an example, and by sub-district.

    Nothing is written. `planner run` writes every finding, with the text that was found, to findings.csv.
    """
    from planner import pipeline
    from planner.commands.findings import tell_findings

    loaded, table = pipeline.check(plan, say)
    for line in warnings(plan):
        say(line)
    sites = table.sites
    grades = sites["evidence_grade"].value_counts()
    typer.echo(printable(f"{loaded.plan.inventory.file}: {len(sites)} rows, {len(table.findings)} findings"))
    typer.echo("evidence: " + ", ".join(f"{grade} {grades.get(grade, 0)}" for grade in "ABCD"))
    tell_findings(table.findings, sites["sub_district_used"])


@app.command()
def draft(
    inventory: Annotated[Path, typer.Argument(metavar="INVENTORY", help="The table of boreholes, as it is.")],
    out: Annotated[
        Path | None,
        typer.Option(metavar="PLAN.toml", help="The plan file; default beside the table, its name with .toml."),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a plan file that is there already.")] = False,
) -> None:
    """Begin here: read a table as it is, and write a plan file for it. The table itself is never changed.

    Columns are recognised by their headers, in English, French, Portuguese, Spanish and Swahili, and by WPDx names and
    HXL hashtags; units by what the header says ("Debit (l/s)", "SWL m bgl"); the reference system by headers and
    values. Nothing is guessed from the size of a number. What is not certain is left open, or listed in the plan file
    under [inventory] unconfirmed: planner run waits until you have looked at each and taken it out of the list.

    Every guess stands in the plan file with its reason and a value of the table; every other setting stands there too,
    commented out, with its default and what it means. Columns with names or phones of people are not read.

    \b
    Example:
      planner draft boreholes.csv          writes boreholes.toml
      planner check boreholes.toml         the faults of the table
      planner run boreholes.toml           the whole job
    """
    from planner.commands.draft.command import draft as drafted

    typer.echo(printable(drafted(inventory, out, force=force)), nl=False)


@app.command()
def why(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="The folder of a finished run.")],
    site_id: Annotated[str, typer.Argument(metavar="SITE_ID", help="A site id, or row:17 for a row of the inventory.")],
) -> None:
    """The worked calculation of one site, step by step, from what was read to its cost per cubic metre.

    Every step is printed with its formula, the numbers put in, the result with its unit and the source, so that it can
    be followed with a pocket calculator: demand, well, sun, pump and its rules, operating point, water of the design
    month and the year, bill, replacements, cost. A site without a design ends with the rules that stopped it.
    Whatever does not agree with the results of the run stops the command. Nothing is changed.

    Example: planner why maps/demo-district 00043
    """
    from planner.commands.why.command import why as calculation

    typer.echo(calculation(folder, site_id), nl=False)


@app.command("break-even")
def break_even(
    plan: PlanFile,
    out: Annotated[Path, typer.Option(metavar="FILE.svg", help="The chart.")] = Path("break_even.svg"),
) -> None:
    """A chart of head and daily volume: where solar, handpumps or diesel are cheapest, and where solar and diesel meet.

    Wells of every head and demand are invented and sized by the same search as the sites, under the sun of the plan's
    middle site and with the plan's prices.
    """
    from planner.commands.break_even import break_even as drawn

    drawn(plan, out)
    typer.echo(str(out))


@app.command()
def compare(
    old: Annotated[Path, typer.Argument(metavar="DIR", help="The folder of a finished run, the one before.")],
    new: Annotated[Path, typer.Argument(metavar="DIR", help="The folder of another, the one after.")],
    out: Annotated[
        Path | None, typer.Option(metavar="FILE.csv", help="Also a table: each site that moves, both values, and why.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a file that is there already.")] = False,
) -> None:
    """Two finished runs side by side: which sites move in and out, and why. Only their files are read.

    Rows of the same file are paired by their number, else by site id, else by position; what has no partner, or
    several, is told. A site moves when its decision, its funding, its pump or its rank is another. Why: inputs and
    keys of the plan that differ, rules that fail or pass now, its own cost, the other sites, the budget. Different
    money, versions, catalogues and files are named first. Nothing of the runs is changed.

    \b
    For what-ifs of one plan write [[scenario]] into it instead: planner run then computes each beside the plan.

    Example: planner compare results-2025 results-2026 --out moves.csv
    """
    from planner.commands.compare.command import compare as compared

    typer.echo(printable(compared(old, new, out, force=force)), nl=False)


@app.command()
def update(
    plan: PlanFile,
    returned: Annotated[
        Path, typer.Argument(metavar="RETURNED", help="The form that came back, field_form.xlsx or .csv, filled in.")
    ],
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Folder of the new results; default maps/<programme>-updated/.")
    ] = None,
    against: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Folder of the run before; default the plan's, maps/<programme>/."),
    ] = None,
    no_run: Annotated[
        bool, typer.Option("--no-run", help="Write the copies only; run nothing, compare nothing.")
    ] = False,
    force: Annotated[bool, typer.Option("--force", help="Write over copies that are there already.")] = False,
) -> None:
    """What a field visit brought back: into a copy of the inventory, then a new run, and what it changed.

    The form may be filled in part, rows and columns may be missing or moved, units and decimal commas may stand in its
    cells. Every row must be of this inventory: number, site id and position are held against it, and what does not
    agree is told and not used. A new pumping test replaces the old one as a whole.

    The inventory and the plan are never changed. Beside them are written boreholes-updated.csv (every cell as it was,
    but for those measured), plan-updated.toml (which names it) and boreholes-updated-changes.csv (each cell, old and
    new, and what was not used, and why). Then the new plan is run and compared with the run before: evidence grade,
    decision, funding and rank of the sites of the form, and every site that moves.

    \b
    Example:
      planner run plan.toml                          writes field_form.xlsx, among others
      planner update plan.toml field_form.xlsx       once it is filled in
      planner update plan-updated.toml second.xlsx   the next visit
    """
    from planner.commands.update.command import compared
    from planner.commands.update.command import update as updated

    done = updated(plan, returned, out=out, against=against, run=not no_run, force=force)
    for line in done.lines:
        say(line)
    if no_run:
        typer.echo(printable(str(done.plan)))
        return
    from planner import pipeline

    try:
        with progress_bar() as progress:
            outcome = pipeline.run(done.plan, done.out, tell=say, progress=progress)
    except KeyboardInterrupt:
        say(f"stopped; the copies are written, go on with: planner run {done.plan}")
        raise typer.Exit(STOPPED) from None
    typer.echo(printable(compared(done, outcome)), nl=False)
    if outcome.counts["not_assessed"] == sum(outcome.counts.values()):
        raise typer.Exit(NOTHING_ASSESSED)


@app.command()
def selfcheck(
    cases: Annotated[
        bool,
        typer.Option("--cases", help="Print every known case instead: its value, what is expected, and the source."),
    ] = False,
) -> None:
    """Is this installation whole, and does it compute what it should? Some ten seconds; nothing of yours is touched.

    Cores, memory and disk; versions of libraries; every shipped data file; a hundred hand-calculated and published
    cases; seven invented wells through the whole job, twice, in a temporary folder; where compiled kernels are kept,
    and whether they are found again. The very first time kernels are compiled, two to four minutes, and kept, so that
    the first planner run need not. A line a check: ok, note (works, but look at it) or FAIL, with what to do below it.
    Exit status 3 if any fails.
    """
    from planner.commands.selfcheck.command import case_lines
    from planner.commands.selfcheck.command import selfcheck as checks

    if cases:
        lines, hold = case_lines()
        typer.echo("\n".join(lines))
        if not hold:
            raise typer.Exit(INTERNAL_FAULT)
        return
    done = []
    for one in checks(say):
        done.append(one)
        typer.echo(printable("\n".join(one.lines())))
    failed = [one.name for one in done if one.grade == "FAIL"]
    if failed:
        typer.echo(f"{len(failed)} of {len(done)} checks failed: {', '.join(failed)}")
        raise typer.Exit(INTERNAL_FAULT)
    typer.echo(f"all {len(done)} checks hold")


def flush_output() -> None:
    """Have what was printed where it belongs while a failure can still be told: a pipe, or a file on a full disk."""
    if sys.stdout is None:
        return
    try:
        sys.stdout.flush()
    except OSError as error:
        nowhere = os.open(os.devnull, os.O_WRONLY)  # or the interpreter fails once more, when it ends
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
        if not isinstance(error, BrokenPipeError):  # of a pipe: who reads it has seen enough
            raise OSError(error.errno, error.strerror, "standard output") from error


def say(text: str) -> None:
    """A message to the person at the terminal, beside what may be piped."""
    typer.echo(printable(text), err=True)


def warnings(plan: Path) -> Iterator[str]:
    """Keys that are read without effect, and inputs from outside the plan's folder."""
    from planner.plan import input_files, read_plan

    loaded = read_plan(plan)
    for guess in loaded.plan.inventory.unconfirmed:
        yield f"note: not confirmed yet, planner run refuses it: [inventory] unconfirmed: {guess}"
    for key, instead in loaded.without_effect.items():
        yield f"note: {key} has no effect in this version: {instead}"
    home = loaded.path.parent
    for key, name in input_files(loaded.plan).items():
        if not loaded.resolve(name).is_relative_to(home):
            yield f"note: {key} lies outside the plan's folder: {loaded.resolve(name)}"


@contextmanager
def progress_bar() -> Iterator[Callable[[int, int], None]]:
    """A bar on a terminal, a plain line a tenth otherwise."""
    if sys.stderr is None or not sys.stderr.isatty():
        told = -1

        def plain(done: int, total: int) -> None:
            nonlocal told
            if total and 10 * done // total > told:
                told = 10 * done // total
                say(f"sized {done} of {total} sites")

        yield plain
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("sizing", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
