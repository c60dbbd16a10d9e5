"""After stringing: from a job, its readings and its book of parts to what is cut next, or done."""

from __future__ import annotations

from collections.abc import Iterator

from blankcam import output_folder
from blankcam.inputs.units import Units
from blankcam.outputs.papers import next_steps, refit_list
from blankcam.outputs.papers.refit_list import RefitSheet
from blankcam.outputs.render import records
from blankcam.outputs.rows import Section
from blankcam.refit import book
from blankcam.workflows.drawn import setup_cards
from blankcam.workflows.refit.inputs import RefitInputs, read_inputs
from blankcam.workflows.refit.page import refit_page
from blankcam.workflows.refit.pieces import Cuts
from blankcam.workflows.refit.sheet import sheet_of
from blankcam.workflows.refit.work_out import work_out


def refit(
    job_path: str,
    readings_path: str,
    out: str,
    machine: str | None,
    *,
    force: bool = False,
    drop_torn_line: bool = False,
    units: Units | None = None,
) -> Iterator[Section]:
    """Work a refit out, prove its programs, write the folder, then the book; yields what to show.

    The book comes last: should it fail, the next refit takes the parts to be higher than they are,
    never lower. It is held from before it is read until it is written, so that two refits at once
    take turns.

    Raises
    ------
    BlankcamError
        Before anything is written, but for a book that can't be written.
    """
    path = book.book_path(job_path)
    output_folder.check(out, force=force)
    output_folder.check_growing_file(path)
    given = read_inputs(job_path, readings_path, machine, units)
    book.refuse_old_log(job_path)
    with book.locked(path):
        if drop_torn_line:
            book.drop_torn_line(path)
        held = book.read_book(path)
        worked = work_out(given, held)
        sheet = sheet_of(given, worked)
        files = _files(given, sheet, worked.cuts)
        files |= {"preview.html": refit_page(given, sheet, worked.cuts)}
        output_folder.write(out, files, force=force)
        if worked.entries:
            book.add_entries(held, worked.entries)
    yield from refit_list.sections(sheet)
    names = ", ".join(sorted(files))
    yield Section(title="Written", notes=(f"to {out}: {names}", path))
    nothing, done = worked.taken.nothing, sheet.state == "done"
    steps = tuple(next_steps.after_refit(out, files, nothing=nothing, done=done))
    if steps:
        yield Section(title="Next", verbatim=True, notes=steps)


def _cards(cuts: Cuts, *, left_handed: bool) -> dict[str, bytes]:
    """How each part is held and zeroed for its program, drawn, by name."""
    from blankcam.outputs.drawings.setup_card import cards

    drawn = [cards(result, bass_left=not left_handed) for result in cuts.results]
    return {name: data for each in drawn for name, data in each.items()}


def _files(given: RefitInputs, sheet: RefitSheet, cuts: Cuts) -> dict[str, bytes]:
    """What the folder holds: the programs and the papers, by name."""
    programs = {name: text for r in cuts.results for name, text in r.texts.items()}
    units = given.profile.drawing.units
    return (
        programs
        | _cards(cuts, left_handed=given.found.job.left_handed)
        | _drawn(given, sheet, cuts)
        | {
            "refit.md": refit_list.bench(sheet, units).encode(),
            "refit.json": records.render(refit_list.record(sheet)).encode(),
        }
    )


def _drawn(given: RefitInputs, sheet: RefitSheet, cuts: Cuts) -> dict[str, bytes]:
    """The sheet of what is cut, where anything is."""
    if sheet.taken.nothing:
        return {}
    from blankcam.outputs.papers import refit_sheet

    wanted = given.profile.drawing
    drawn = refit_sheet.pdf(
        given.found,
        sheet,
        paper=wanted.paper,
        units=wanted.units,
        setups=[d for each in setup_cards(given.found, cuts.results).values() for d in each],
    )
    return {"sheet.pdf": drawn}
