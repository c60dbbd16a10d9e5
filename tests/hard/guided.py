"""A small coverage-guided fuzzer: an input that reaches a new line is kept and changed further."""

from __future__ import annotations

import random
import sys
import time
from collections.abc import Callable, Iterable

TOKENS = (
    b"", b"\x00", b"\n", b"(", b")", b";", b"%", b"-", b"+", b".", b"=", b'"', b"'", b"[", b"]", b"{", b"}", b",",
    b"#", b"e9", b"1e308", b"nan", b"inf", b"-0", b"0", b"9" * 400, b"99999999999", b"\xff", b"\xc3\xa9",
    b"\xe2\x80\xae", b"G2", b"G3", b"G18", b"G20", b"G91", b"G43", b"X", b"I", b"R", b"F", b"M6", b"M0", b"M2", b"T1",
    b'"0 mm"', b'"1/0 in"', b'"-5 mm"', b'"flat"', b"[[strings]]\n", b"[nut]\n", b"true", b"[[tools]]\n", b"[[[[[[[[",
    b"1979-05-27", b'"""', b"\\u0000", b"\\", b"\r", b"\xef\xbb\xbf",
)  # fmt: skip


def mutated(data: bytes, others: list[bytes], chance: random.Random) -> bytes:
    """One to four small changes: a byte, a token, a line lost, doubled, moved or borrowed."""
    for _ in range(chance.randint(1, 4)):
        lines = data.split(b"\n")
        at, line = chance.randrange(len(data) + 1), chance.randrange(len(lines))
        kind = chance.randrange(8)
        if kind == 0:
            data = data[:at] + bytes([chance.randrange(256)]) + data[at + 1 :]
        elif kind == 1:
            data = data[:at] + data[at + chance.randint(1, 9) :]
        elif kind == 2:
            data = data[:at] + chance.choice(TOKENS) + data[at:]
        elif kind == 3:
            data = data[:at] + chance.choice(TOKENS) + data[at + chance.randint(1, 6) :]
        elif kind == 4:
            data = b"\n".join(lines[:line] + lines[line + 1 :])
        elif kind == 5:
            data = b"\n".join([*lines[:line], lines[line], *lines[line:]])
        elif kind == 6:
            data = b"\n".join([*lines[:line], chance.choice(lines), *lines[line + 1 :]])
        else:
            borrowed = chance.choice(chance.choice(others).split(b"\n"))
            data = b"\n".join([*lines[:line], borrowed, *lines[line:]])
    return data[:20_000]


def reached(run: Callable[[bytes], object], data: bytes, within: tuple[str, ...]) -> set[int]:
    """Which steps from line to line of the watched modules a run takes."""
    found: set[int] = set()

    def watch(frame, event, arg):
        if not frame.f_code.co_filename.endswith(within):
            return None
        code, last = hash(frame.f_code.co_filename) ^ frame.f_code.co_firstlineno << 20, [0]

        def step(inner, event, arg):
            if event == "line":
                found.add(hash((code, last[0], inner.f_lineno)))
                last[0] = inner.f_lineno
            return step

        return step

    before = sys.gettrace()
    sys.settrace(watch)
    try:
        run(data)
    finally:
        sys.settrace(before)
    return found


def fuzz(
    run: Callable[[bytes], object],
    seeds: Iterable[bytes],
    *,
    within: tuple[str, ...],
    seconds: float,
    rounds: int,
    seed: int,
    least: int = 0,
) -> tuple[int, int]:
    """Run changed inputs until time or rounds are over; what ``run`` raises passes through, with
    the input noted on it. Returns how many ran and how many inputs were kept.

    Parameters
    ----------
    within : ends of the file names of the modules that are watched
    least : so many inputs run, however long they take
    """  # fmt: skip
    chance, end = random.Random(seed), time.monotonic() + seconds
    kept, seen, done = list(seeds), set(), 0
    for data in kept:
        seen |= reached(run, data, within)
    while done < rounds and (done < least or time.monotonic() < end):
        data = mutated(chance.choice(kept[-40:] if chance.random() < 0.7 else kept), kept, chance)
        began = time.monotonic()
        try:
            now = reached(run, data, within)
        except BaseException as fault:
            fault.add_note(f"input: {data!r}")
            raise
        assert time.monotonic() - began < 5, data
        if not now <= seen:
            seen |= now
            kept.append(data)
        done += 1
    return done, len(kept)
