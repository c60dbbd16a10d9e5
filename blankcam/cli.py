"""The commands: parse, call, print, exit code; nothing else.

Heavy imports stand inside the commands, so that ``--help`` and ``layout`` start fast.
"""

import gc
import io
import os
import sys
from collections.abc import Callable
from contextlib import nullcontext
from importlib.util import find_spec
from pathlib import Path
from typing import Annotated, Any, TypeVar

import typer

from blankcam import __version__
from blankcam.faults import (
    EXIT_DONE,
    EXIT_REFUSED,
    EXIT_UNUSABLE,
    BlankcamError,
    Fault,
    InputError,
    RefusedError,
    printable,
)
from blankcam.inputs.units import Units
from blankcam.parts.stage import Stage

_INTERRUPTED = 130  # what typer makes of Ctrl-C

F = TypeVar("F", bound=Callable[..., None])

DOCS = Path(__file__).parent / "docs"
"""The papers that are shipped: job file, commands, machines, findings, bench loop, sources."""

app = typer.Typer(
    name="blankcam",
    help="Nuts and saddles for stringed instruments: from bench measurements to proven cuts.",
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    epilog=f"Begin with: blankcam start my-job.toml --like classical\n\n\b\nDocumentation: {DOCS}",
)


def _command(example: str) -> Callable[[F], F]:
    """A command whose help ends with an example, never broken over two lines."""
    return app.command(epilog=f"\b\nExample:\n  {example}")


def _machines(typed: str) -> list[str]:
    from blankcam.inputs.machine_file import shipped

    return [name for name in shipped() if name.startswith(typed)]


def _kinds(typed: str) -> list[str]:
    from blankcam.inputs.job import KINDS

    return [kind for kind in KINDS if kind.startswith(typed)]


JobArg = Annotated[str, typer.Argument(metavar="JOB", help="The job file (TOML).")]
OutOpt = Annotated[str, typer.Option("--out", metavar="DIR", help="Folder to write into.")]
MachineOpt = Annotated[
    str | None,
    typer.Option(
        "--machine",
        metavar="NAME",
        help="A machine's name, or the path of its profile.",
        autocompletion=_machines,
    ),
]
StageOpt = Annotated[
    Stage,
    typer.Option("--stage", help="rough leaves the allowance for setting up; final leaves none."),
]
JsonOpt = Annotated[bool, typer.Option("--json", help="Print JSON for other programs instead.")]
ForceOpt = Annotated[
    bool,
    typer.Option(
        "--force",
        help="Write even if the folder holds other files. Yours are kept; files of an earlier run "
        "are overwritten, even if you changed them.",
    ),
]
ReleaseOpt = Annotated[
    str | None,
    typer.Option("--release", help="DXF release: R2000, R2010, or R12, which names no unit."),
]
PaperOpt = Annotated[str | None, typer.Option("--paper", help="Paper of the sheet: A4 or Letter.")]
UnitsOpt = Annotated[
    Units | None, typer.Option("--units", help="Units of the tables: millimetres, inches or both.")
]
StockOpt = Annotated[
    str | None,
    typer.Option(
        "--stock",
        metavar="SIZE",
        help='Also lay out all outlines on a sheet of this size, such as "300 mm x 200 mm".',
    ),
]
StockMaterialOpt = Annotated[
    str | None,
    typer.Option(
        "--stock-material", metavar="NAME", help="What the laser cuts: card, wood or acrylic."
    ),
]


def _version(wanted: bool) -> None:
    if wanted:
        print(f"blankcam {__version__}")
        raise typer.Exit


@app.callback(invoke_without_command=True)
def _main(
    context: typer.Context,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    del version
    if context.invoked_subcommand is None:
        print(context.get_help())


@_command("blankcam start my-job.toml --like ukulele")
def start(
    file: Annotated[str, typer.Argument(metavar="FILE", help="The job file to write.")],
    like: Annotated[
        str | None,
        typer.Option(
            "--like",
            metavar="KIND",
            help="Kind of instrument: classical, steel-string, electric, bass, ukulele, mandolin "
            "or banjo.",
            autocompletion=_kinds,
        ),
    ] = None,
    ask: Annotated[
        bool,
        typer.Option(
            "--ask", help="Ask for your measurements one by one; you can stop and go on later."
        ),
    ] = False,
    force: Annotated[bool, typer.Option("--force", help="Overwrite an existing job file.")] = False,
) -> None:
    """Write a commented job file with typical values."""
    from blankcam.workflows import start as start_job

    if ask:
        _asked(file, like, force=force)
        return
    if like is None:
        fix = "--like KIND writes typical values, --ask asks for your own"
        raise InputError(Fault(where="start", wrong="says neither --like nor --ask", fix=fix))
    for line in start_job.start(file, like, force=force):
        print(line)


def _asked(file: str, like: str | None, *, force: bool) -> None:
    from blankcam import terminal
    from blankcam.inputs.interview import part_path
    from blankcam.inputs.machine_file import read_profile
    from blankcam.workflows import start as start_job

    with start_job.asking(file):
        talk = start_job.begin(file, like, force=force)
        taken_up = start_job.is_kept(file)
        try:
            if taken_up and not terminal.goes_on(len(talk.answers), part_path(file)):
                start_job.forget(file)
                talk = start_job.begin(file, like, force=force)
            talk = terminal.converse(
                talk, keep=lambda t: start_job.keep(file, t), machine=read_profile
            )
        except (EOFError, KeyboardInterrupt):
            print()
            raise start_job.broken_off(file) from None
        for line in start_job.finish(file, talk, force=force):
            print(line)


@_command("blankcam layout my-job.toml")
def layout(
    job: JobArg,
    machine: MachineOpt = None,
    stage: StageOpt = Stage.ROUGH,
    as_json: JsonOpt = False,
    picture: Annotated[
        bool, typer.Option("--picture", help="Draw both parts in the terminal instead.")
    ] = False,
    scatter: Annotated[
        bool, typer.Option("--scatter", help="Also show what errors of measurement would do.")
    ] = False,
    feeds: Annotated[
        bool, typer.Option("--feeds", help="Also show feeds, speeds, depths and times.")
    ] = False,
    units: UnitsOpt = None,
) -> None:
    """Print every computed number of a job."""
    from blankcam import terminal
    from blankcam.workflows import layout as layouts

    if picture:
        lines, refused = layouts.picture(job, terminal.width(), plain=terminal.is_plain())
        print("\n".join(lines))
    else:
        found = layouts.layout(job, machine, stage, scatter=scatter, feeds=feeds)
        refused = found.refused
        if as_json:
            print(found.report_text, end="")
        else:
            terminal.show(found.sections, units or "both")
    if refused:
        raise RefusedError(refused)


@_command("blankcam make my-job.toml --out cuts")
def make(job: JobArg, out: OutOpt, machine: MachineOpt = None, stage: StageOpt = Stage.ROUGH,
         force: ForceOpt = False, paper: PaperOpt = None, units: UnitsOpt = None,
         stock_material: StockMaterialOpt = None) -> None:  # fmt: skip
    """Make every file of a job, each program proven."""
    _written(job, out, machine, stage, force=force, what="all", paper=paper, units=units,
             stock_material=stock_material)  # fmt: skip


@_command("blankcam dxf my-job.toml --out drawings")
def dxf(job: JobArg, out: OutOpt, machine: MachineOpt = None, stage: StageOpt = Stage.ROUGH,
        force: ForceOpt = False, release: ReleaseOpt = None, stock: StockOpt = None,
        stock_material: StockMaterialOpt = None) -> None:  # fmt: skip
    """Write the DXF outlines alone."""
    _written(job, out, machine, stage, force=force, what="dxf", release=release, stock=stock,
             stock_material=stock_material)  # fmt: skip


@_command("blankcam gcode my-job.toml --out programs")
def gcode(job: JobArg, out: OutOpt, machine: MachineOpt = None, stage: StageOpt = Stage.ROUGH,
          force: ForceOpt = False) -> None:  # fmt: skip
    """Write the proven programs alone."""
    _written(job, out, machine, stage, force=force, what="gcode")


@_command("blankcam preview my-job.toml --out look")
def preview(job: JobArg, out: OutOpt, machine: MachineOpt = None, stage: StageOpt = Stage.ROUGH,
            force: ForceOpt = False, paper: PaperOpt = None, units: UnitsOpt = None,
            watch: Annotated[bool, typer.Option(
                "--watch",
                help="Keep running: write the page alone, anew each time the job is saved.",
            )] = False) -> None:  # fmt: skip
    """Write the sheet and the page; nothing for a machine."""
    from blankcam import terminal
    from blankcam.workflows import preview as look

    lines = (
        look.watch(job, out, machine, stage, force=force, units=units)
        if watch
        else look.preview(job, out, machine, stage, force=force, paper=paper, units=units)
    )
    for line in lines:
        terminal.say(line)
        if watch:
            sys.stdout.flush()


@_command("blankcam refit my-job.toml readings.toml --out refit")
def refit(
    job: JobArg,
    readings: Annotated[str, typer.Argument(metavar="READINGS", help="The readings file (TOML).")],
    out: OutOpt,
    machine: MachineOpt = None,
    force: ForceOpt = False,
    drop_torn_line: Annotated[
        bool,
        typer.Option(
            "--drop-torn-line",
            help="Go on without the last line of the book of parts, torn by a power cut.",
        ),
    ] = False,
    units: UnitsOpt = None,
) -> None:
    """After stringing, turn readings into the final cuts."""
    from blankcam import terminal
    from blankcam.workflows.refit import folder

    told = folder.refit(
        job, readings, out, machine, force=force, drop_torn_line=drop_torn_line, units=units
    )
    terminal.show(tuple(told), units or "both")


def _written(
    job: str,
    out: str,
    machine: str | None,
    stage: Stage,
    *,
    force: bool,
    what: str,
    release: str | None = None,
    paper: str | None = None,
    units: Units | None = None,
    stock: str | None = None,
    stock_material: str | None = None,
) -> None:
    from blankcam import terminal
    from blankcam.workflows import make

    for line in make.make(
        job, out, machine, stage, what=what, force=force, release=release, paper=paper,
        units=units, stock=stock, stock_material=stock_material,
    ):  # fmt: skip
        terminal.say(line)


@_command("blankcam batch jobs --out cuts")
def batch(
    folder: Annotated[
        str,
        typer.Argument(
            metavar="FOLDER", help="Folder of job files; with --rows, the base job file."
        ),
    ],
    out: OutOpt,
    machine: MachineOpt = None,
    stage: StageOpt = Stage.ROUGH,
    jobs: Annotated[
        int | None,
        typer.Option(
            "--jobs",
            metavar="N",
            min=1,
            max=256,
            help="How many at a time; default: one for each core.",
        ),
    ] = None,
    rows: Annotated[
        str | None,
        typer.Option(
            "--rows",
            metavar="CSV",
            help="Table: a row for each instrument, a column for each key that changes.",
        ),
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(
            "--scheduler", metavar="ADDRESS", help="Address of a Dask cluster to work on."
        ),
    ] = None,
    stock: StockOpt = None,
    fixture: Annotated[
        str | None,
        typer.Option(
            "--fixture",
            metavar='"N x PITCH"',
            help='Also load the blanks side by side into a fixture, such as "4 x 40 mm".',
        ),
    ] = None,
    force: ForceOpt = False,
) -> None:
    """Make every job in a folder, each in its own sub-folder."""
    from blankcam import terminal, workers
    from blankcam.outputs.tables import batch_table
    from blankcam.outputs.tables.batch_table import Outcome
    from blankcam.workflows import batch
    from blankcam.workflows import fixture as fixture_run

    gc.enable()  # the one command that may run for hours
    held = None if fixture is None else fixture_run.fixture_of(fixture)
    found = batch.jobs_of(folder, rows)
    local = (workers.cores(), workers.local_pool(jobs or workers.cores()))
    code = 0
    cluster = scheduler and workers.cluster_pool(scheduler, terminal.say_meanwhile)
    with cluster or nullcontext(local) as (n, pool):
        at_once = (jobs or n) + 2
        outcomes: list[Outcome] = []
        summed_up = False
        try:
            with terminal.progress(len(found)) as told:
                batch.batch(
                    found, out, machine, stage, pool=pool, at_once=at_once, force=force,
                    told=lambda o: told(o.folder), listed=outcomes.extend,
                )  # fmt: skip
            summed_up = True
        finally:  # what was made is told also where the summary can't be written
            if outcomes:
                terminal.show(batch_table.sections(outcomes, out if summed_up else None))
        code = batch.exit_code(outcomes)
        if stock is not None:
            print(batch.write_stock(found, out, machine, stage, stock, force=force))
        if held is not None:
            whole, lines = fixture_run.load_up(
                batch.usable(found), out, machine, stage, held,
                pool=pool, at_once=at_once, force=force,
            )  # fmt: skip
            print(*lines, sep="\n")
            code = code or (EXIT_DONE if whole else EXIT_REFUSED)
    if code:
        raise typer.Exit(code)


@_command("blankcam prove nut-edge.ngc --job my-job.toml")
def prove(
    program: Annotated[str, typer.Argument(metavar="PROGRAM", help="The program to replay.")],
    job: Annotated[str, typer.Option("--job", metavar="JOB", help="The job it is for.")],
    machine: MachineOpt = None,
    stage: Annotated[
        Stage | None, typer.Option("--stage", help="Default: as the program's header says.")
    ] = None,
    as_json: JsonOpt = False,
) -> None:
    """Replay a program and say what it would leave of the part."""
    from blankcam import terminal
    from blankcam.workflows import prove as proofs
    from blankcam.workflows.refit import proving
    from blankcam.workflows.refit.pieces import STEMS

    of_refit = proofs.stem_of(program, proofs.program_bytes(program)).startswith(STEMS)
    prove_one = proving.prove if of_refit else proofs.prove
    passed, lines = prove_one(program, job, machine, stage, as_json=as_json)
    for line in lines:
        print(line) if as_json else terminal.say(line)
    if not passed:
        raise typer.Exit(EXIT_REFUSED)


@_command("blankcam coupon --machine light-router --out coupon")
def coupon(
    machine: Annotated[
        str,
        typer.Option(
            "--machine",
            metavar="NAME",
            help="A machine's name, or the path of its profile.",
            autocompletion=_machines,
        ),
    ],
    out: OutOpt,
    measured: Annotated[
        str | None,
        typer.Option(
            "--measured",
            metavar="FILE",
            help="The file you filled in: write the machine's profile as measured.",
        ),
    ] = None,
    tools: Annotated[
        str | None,
        typer.Option(
            "--tools", metavar="N,N", help="Numbers of the tools to measure; default: all."
        ),
    ] = None,
    material: Annotated[
        str | None,
        typer.Option("--material", help="Material of the piece; default: phenolic laminate."),
    ] = None,
    force: ForceOpt = False,
) -> None:
    """Show how a machine and its tools really cut, by a test piece."""
    from blankcam import terminal
    from blankcam.workflows import coupon as pieces

    if measured is None:
        for line in pieces.cut(machine, out, tools=tools, material=material, force=force):
            terminal.say(line)
        return
    pieces.stop_both(tools, material)
    found, told = pieces.measured(machine, measured, out, force=force)
    terminal.show(found)
    for line in told:
        terminal.say(line)


@_command("blankcam machines bench-mill")
def machines(
    name: Annotated[
        str | None,
        typer.Argument(
            metavar="[NAME]", help="A name, or the path of a profile.", autocompletion=_machines
        ),
    ] = None,
) -> None:
    """List the machine profiles, or check and show one."""
    from blankcam import terminal
    from blankcam.workflows import layout as layouts

    terminal.show(layouts.machines(name))


def run_cli() -> None:
    """Entry point of the ``blankcam`` command: every failure is a line and an exit code."""
    # what start-up makes stays: looking through it over and over for what is lost takes time
    gc.disable()
    _speak_safely()
    # no other package may hook into how job files are read, and looking for such takes time
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    # nothing here is so large that threads of a matrix library would earn what starting them takes
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # a worker process begins with its work, not with this script: it is watched the sooner
    sys.modules["__main__"].__spec__ = find_spec("blankcam.__main__")
    sys.exit(_exit_code())


def _exit_code(args: list[str] | None = None) -> int:
    try:
        code = int(app(args, standalone_mode=False) or 0)
        sys.stdout.flush()  # what can't be written shows here, not after the exit code is out
    except BlankcamError as failed:
        _complain(str(failed))
        return failed.exit_code
    except KeyboardInterrupt:
        code = _INTERRUPTED
    except SystemExit as left:  # a shell was completed (0), or nobody reads on (1, not "refused")
        return EXIT_UNUSABLE if left.code else EXIT_DONE
    except OSError as fault:
        return _unheard(fault)
    except Exception as fault:  # noqa: BLE001 - a maker never sees a traceback
        return _other(fault)
    if code == _INTERRUPTED:
        _complain("blankcam: stopped")
        return EXIT_UNUSABLE
    return code


def _unheard(fault: OSError) -> int:
    """Nobody reads on, or there is no room for what is told; nothing more is sent there."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    if not isinstance(fault, BrokenPipeError):
        why = printable(fault.strerror or fault, 100).lower()
        _complain(f"blankcam: stopped, the system says: {why}")
    return EXIT_UNUSABLE


def _speak_safely() -> None:
    """Whatever letters the terminal or pipe has: a strange one becomes a mark, not a failure."""
    # whoever started us may have closed them
    sys.stdout = sys.stdout or Path(os.devnull).open("w")  # noqa: SIM115 - for good
    sys.stderr = sys.stderr or Path(os.devnull).open("w")  # noqa: SIM115
    for stream, errors in (
        (sys.stdin, "surrogateescape"), (sys.stdout, "replace"), (sys.stderr, "replace"),
    ):  # fmt: skip
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=errors)


def _other(fault: Any) -> int:
    """Faults of the command line itself, and our own mistakes."""
    if hasattr(fault, "format_message"):
        context = getattr(fault, "ctx", None)
        command = context.command_path if context else "blankcam"
        words = fault.format_message().replace("Value error, ", "").rstrip(".")
        _complain(f"blankcam: {printable(words, 300)}; see {command} --help")
    else:
        words = printable(f"{type(fault).__name__}: {fault}", 300)
        _complain(f"blankcam: a fault of the program itself, nothing was written: {words}")
    return EXIT_UNUSABLE


def _complain(text: str) -> None:
    """One line or more on stderr; where that can't be written either, the exit code still tells."""
    encoding = sys.stderr.encoding or "ascii"
    try:
        print(text.encode(encoding, "replace").decode(encoding), file=sys.stderr, flush=True)
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
