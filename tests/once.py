"""Decisions, plans and programs of a request, each worked out once in a test process.

Tests of many subjects look at the same few programs. What they get is frozen, and the very thing
that the function of the same name makes; a test that watches it at work calls that one.
"""

import dataclasses
import functools
import pickle

from blankcam.cut import CutRequest
from blankcam.machining import decide as deciding
from blankcam.toolpath import build
from blankcam.workflows import cut_part as cutting

KEPT = 64
"""So many requests are remembered of each kind of work."""


@dataclasses.dataclass(frozen=True)
class _Asked:
    """A request, told from others by all that it holds."""

    key: bytes
    request: CutRequest = dataclasses.field(compare=False)


def _once(work):
    kept = functools.lru_cache(KEPT)(lambda asked: work(asked.request))
    return lambda request: kept(_Asked(pickle.dumps(request), request))


decide = _once(deciding.decide)
plan = _once(build.plan)
write_part = _once(cutting.write_part)
cut_part = _once(cutting.cut_part)
