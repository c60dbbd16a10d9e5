"""The test piece: its programs and papers; and what it says of the machine once it is measured."""

from __future__ import annotations

import dataclasses
import difflib
from collections.abc import Iterator, Sequence
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING

from blankcam import digest, output_folder
from blankcam.calibration import estimate, slips
from blankcam.calibration.measures import Measure, measures_of
from blankcam.calibration.piece import SIZES, Coupon, coupon_for
from blankcam.calibration.program import coupon_program
from blankcam.calibration.true_profile import Found, found_of, with_found
from blankcam.data import table
from blankcam.faults import Fault, InputError, RefusedError, printable
from blankcam.inputs import coupon_file
from blankcam.inputs.border import parse_toml, read_text
from blankcam.inputs.machine import Profile
from blankcam.inputs.machine_file import parse_profile, read_profile
from blankcam.machining.feeds import material as material_of
from blankcam.outputs.figures import about_minutes
from blankcam.outputs.papers import coupon_list
from blankcam.outputs.render import toml_text
from blankcam.parts.frames import Setup
from blankcam.parts.stage import Stage
from blankcam.safety import notice

if TYPE_CHECKING:
    from blankcam.gcode.program_file import ProgramFile
    from blankcam.outputs.rows import Section
    from blankcam.replay.proof import Proof
    from blankcam.toolpath.moves import Program

PROOF_STEP = 0.05
"""mm, size of the proof's cells: the piece is large; its walls are looked at on fine lines."""
MATERIAL = "phenolic laminate"
_SECTIONS = ("controller", "holding", "drawing")
_BROUGHT = ("measured", "backlash", "backlash_within", "scale", "scale_within", "runout")


def cut(
    machine: str,
    out: str,
    *,
    tools: str | None = None,
    material: str | None = None,
    force: bool = False,
) -> Iterator[str]:
    """Write the programs and papers of a machine's test piece; yields what to tell the maker.

    Parameters
    ----------
    tools : numbers of those to measure, "1,2,5"; all without
    material : of the piece; ``MATERIAL`` without

    Raises
    ------
    BlankcamError
        Before anything is written.
    """
    from blankcam.outputs.drawings.coupon_view import picture

    material, asked = material or MATERIAL, _numbers(tools)
    _check_material(material)
    profile = _as_held(read_profile(machine))
    output_folder.check(out, force=force)
    piece = coupon_for(profile, asked)
    programs = _proven(piece, profile, material)
    facts = coupon_list.CouponFacts(
        piece=piece,
        profile=profile,
        material=material,
        measures=measures_of(piece),
        programs=programs,
        machine=machine,
        asked=asked,
        digest=piece_digest(piece),
    )
    files = {f.name: f.text.encode() for f in programs}
    files["coupon.md"] = coupon_list.paper(facts).encode()
    files[coupon_list.PICTURE] = picture(piece)
    files[coupon_list.TO_FILL] = coupon_list.to_fill_in(facts).encode()
    output_folder.write(out, files, force=force)
    for file in programs:
        yield f"{file.name}: proven; {file.lines} lines, {about_minutes(file.seconds)}"
    yield f"wrote {len(files)} files to {out}: {', '.join(sorted(files))}"
    yield f"next: follow {Path(out) / 'coupon.md'}"


def _numbers(tools: str | None) -> tuple[int, ...]:
    try:
        return tuple(int(n) for n in tools.split(",")) if tools is not None else ()
    except ValueError:
        wrong, fix = "is no list of tool numbers", "write them like --tools 1,2,5"
        raise InputError(Fault(where="--tools", found=tools, wrong=wrong, fix=fix)) from None


def stop_both(tools: str | None, material: str | None) -> None:
    """Raise InputError where the readings are given and a piece is asked for too."""
    for name, value in (("--tools", tools), ("--material", material)):
        if value is not None:
            wrong = "is of no use with --measured: the file says which piece it is"
            raise InputError(Fault(where=name, found=value, wrong=wrong, fix="leave it out"))


def _check_material(material: str) -> None:
    rows = table("materials")
    names = [k for k, v in rows.items() if isinstance(v, dict) and k != "unknown"]
    if material not in names:
        fix = f"use one of {', '.join(names)}"
        raise InputError(Fault(where="--material", found=material, wrong="not known", fix=fix))


def _as_held(profile: Profile) -> Profile:
    """The machine as it is sold, and its vice as the piece is held in it.

    Raises
    ------
    RefusedError
        For a machine that takes no programs.
    """
    if not profile.cuts_programs:
        wrong, fix = f"a {profile.kind} takes no programs", "choose a mill or a router"
        raise RefusedError(Fault(where="--machine", found=profile.name, wrong=wrong, fix=fix))
    held = dataclasses.replace(profile.holding, kind="vice", jaw_top=float(SIZES["jaws"]))
    return dataclasses.replace(profile.as_sold(), holding=held)


def piece_digest(piece: Coupon) -> str:
    """By which a file of readings knows the piece that they were taken from."""
    said = [f"{m.key} {m.nominal:.4f} {sorted(m.shares.items())}" for m in measures_of(piece)]
    return digest.of_text("\n".join(said))


# -- programs ----------------------------------------------------------------------------------


def _proven(piece: Coupon, profile: Profile, material: str) -> tuple[ProgramFile, ...]:
    """The piece's programs, proven.

    Raises
    ------
    RefusedError
        Where the machine can't cut it, or the proof failed.
    """
    from blankcam.gcode import writer
    from blankcam.toolpath import bounds, build

    program = coupon_program(piece, profile, material_of(material))
    if faults := bounds.travel_faults("the test piece", profile, program.operations):
        fix = "measure fewer tools on one piece, with --tools"
        raise RefusedError(dataclasses.replace(f, fix=fix) for f in faults)
    signed = piece_digest(piece)
    words = f"test piece of {profile.name}"
    over = build.in_air(program, (piece.box,), (), profile)
    files = tuple(
        writer.write(p, profile, words, signed) for p in (over, *build.split(program, profile))
    )
    proof = _proof(piece, profile, material, files, program)
    faults = [Fault(where="coupon", wrong=f"the proof failed: {f}", fix="nothing was written")
              for f in proof.faults[:20]]  # fmt: skip
    if faults:
        raise RefusedError(faults)
    return files


def _proof(
    piece: Coupon,
    profile: Profile,
    material: str,
    files: Sequence[ProgramFile],
    program: Program,
) -> Proof:
    from blankcam.replay.proof import ProgramText
    from blankcam.replay.prove import prove

    cuts = {o.tool.number: o.cut for o in program.operations}
    return prove(
        [ProgramText(name=f.name, data=f.text, setup=Setup.EDGE, air=f.program.air) for f in files],
        piece,
        stage=Stage.FINAL,
        milled=frozenset(),
        stock=piece.box,
        profile=profile,
        material=material,
        plunge={n: c.plunge for n, c in cuts.items()},
        depth={n: c.depth for n, c in cuts.items()},
        step=PROOF_STEP,
    )


# -- readings ----------------------------------------------------------------------------------


def measured(
    machine: str, readings: str, out: str, *, force: bool = False
) -> tuple[tuple[Section, ...], list[str]]:
    """Write a machine's profile as measured; what was found, and what to tell the maker.

    Raises
    ------
    BlankcamError
        Before anything is written.
    """
    profile = read_profile(machine)
    read = coupon_file.read_measured(readings)
    piece = coupon_for(_as_held(profile), read.tools)
    measures = measures_of(piece)
    _check_source(read, profile, piece, measures)
    good_to = read.good_to or float(table("coupon")["caliper"]["good_to"])
    _stop_questions(read, measures, good_to)
    best = estimate.estimate(measures, read.readings, good_to)
    found = found_of(piece, best, read.day)
    name = f"{Path(profile.path).stem.removesuffix('-measured')}-measured.toml"
    text = _profile_text(profile, found)
    _check_profile(text, name, read)
    output_folder.write_beside(out, {name: text.encode()}, force=force)
    path = Path(out) / name
    told = [
        f"wrote {path}",
        f"next: blankcam make JOB --machine {quote(str(path))} --out DIR",
    ]
    return coupon_list.found_sections(found), told


def _check_profile(text: str, name: str, read: coupon_file.Measured) -> None:
    """Raise InputError, which names the readings, where no profile may say what they come to."""
    try:
        parse_profile(text, name)
    except InputError as fault:
        faults = (
            read.source.fault(("twice",) if read.twice else (), wrong, "measure the piece again")
            for f in fault.faults
            if (wrong := f"together, the readings describe no possible machine: {_of_profile(f)}")
        )
        raise InputError(faults) from None


def _of_profile(fault: Fault) -> str:
    found = "" if fault.found is None else f" {printable(fault.found)}"
    return f"{fault.key}{found} {fault.wrong}"


def _profile_text(profile: Profile, found: Found) -> str:
    """The profile as measured, its own values kept beside what was found."""
    tables = parse_toml(read_text(profile.path), profile.path)
    head = [
        *notice(MATERIAL, str(profile.kind)),
        f"{printable(Path(profile.path).name)} as measured on {found.day} with blankcam coupon.",
        (
            "effective_diameter, z_offset, backlash and scale are what was found; "
            "each _within says how"
        ),
        "far it may be off: 95 of 100 lie nearer. Measure again after a new tool, a new collet or",
        "work on the machine.",
    ]
    made = with_found(tables, found)
    first = {k: made[k] for k in made if k not in _BROUGHT}
    last = {k: made[k] for k in _BROUGHT if k in made}
    lines = "".join(f"# {line}\n" for line in head)
    return lines + toml_text.render({**first, **last}, _SECTIONS)


def _check_source(
    read: coupon_file.Measured, profile: Profile, piece: Coupon, measures: Sequence[Measure]
) -> None:
    """Whether the readings are of this piece; raises InputError."""
    faults = []
    if read.machine is not None and read.machine != profile.name:
        wrong = f"was cut on another machine than {printable(profile.name)}"
        fix = "name its own with --machine"
        faults.append(read.source.fault(("machine",), wrong, fix, read.machine))
    elif read.piece_digest not in (None, piece_digest(piece)):
        wrong = "is of another piece than this profile's tools make now"
        fix = "measure with the profile as it was when the piece was cut, or cut another"
        faults.append(read.source.fault(("piece_digest",), wrong, fix, read.piece_digest))
    known = [m.key for m in measures]
    keys = (*read.readings, *read.twice)
    faults += [_unknown_key(read, key, known) for key in keys if key not in known]
    if not read.readings:
        faults.append(read.source.fault((), "holds no reading", "fill in what coupon.md asks for"))
    for key, values in read.readings.items():
        apart = max(values) - min(values)
        if apart > table("coupon")["questions"]["apart"] and key not in read.twice:
            wrong = f"two readings of it are {apart:.3f} mm apart"
            fix = "measure it again, and write down what you read"
            faults.append(read.source.fault(tuple(key.split(".")), wrong, fix))
    if faults:
        raise InputError(faults)


def _unknown_key(read: coupon_file.Measured, key: str, known: Sequence[str]) -> Fault:
    near = difflib.get_close_matches(key, known, 1)
    fix = f"did you mean {near[0]}?" if near else f"it has {', '.join(known)}"
    return read.source.fault(tuple(key.split(".", 1)), "is not measured on this piece", fix)


def _stop_questions(
    read: coupon_file.Measured, measures: Sequence[Measure], good_to: float
) -> None:
    """Raise InputError where a reading is not believable."""
    if likely := slips.slip_of_all(measures, read.readings):
        fix = f'likely {likely}; write each with its own unit, such as "3.02 mm" or "0.119 in"'
        raise InputError(read.source.fault((), "no reading is believable", fix))
    faults = [
        _question_fault(read, q)
        for q in slips.questions(measures, read.readings, good_to, read.twice)
    ]
    if faults:
        raise InputError(faults)


def _question_fault(read: coupon_file.Measured, q: slips.QuestionedReading) -> Fault:
    expected = f"expected {q.expected.value:.2f} mm, give or take {q.limit:.2f}"
    likely = f"likely {q.likely}; " if q.likely else ""
    wrong = f"is not believable: {expected}"
    fix = f'{likely}measure it again; if it is right, write twice = ["{q.measure.key}"]'
    if q.confirmed:
        wrong = f"is further off than any machine could leave it, even read twice: {expected}"
        fix = f"{likely}see that its line is the right one, or leave the reading out"
    at = (q.measure.table, q.measure.name)
    return read.source.fault(at, wrong, fix, f"{q.reading:g} mm")
