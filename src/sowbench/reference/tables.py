"""Reading the tables of the package, and the rule by which one of several values is used."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from typing import Final

from sowbench.domain.records import Fact
from sowbench.science.errors import InputFileError, Problem

__all__ = [
    "NEVER_USED_RANK",
    "Candidate",
    "Source",
    "choose",
    "number",
    "read_table",
    "sources",
    "standing",
]

# A row with this rank or above is kept beside the others and never used.
NEVER_USED_RANK: Final = 9
_USUAL_RANK: Final = 5
_GRADE_STANDING: Final = {"A": 1, "B": 2, "C": 4}
_BASIS_STANDING: Final = {
    "house": 0,
    "computed": 3,
    "common practice": 5,
    "from memory": 6,
    "assumption": 7,
}


@dataclass(frozen=True, slots=True)
class Source:
    """Where figures come from; shops are named by what they are, not by name."""

    id: str
    citation: str
    grade: str
    seen: str
    topic: str


@dataclass(frozen=True, slots=True)
class Candidate:
    """One value that could be used, with how near it is to the crop.

    ``scope`` counts outward: 0 the crop itself, 1 the crop it is like, 2 its kin, 3 its season,
    4 every crop. ``pooled`` marks a source that gives one value for several crops.
    """

    fact: Fact
    scope: int = 0
    pooled: bool = False
    rank: int = _USUAL_RANK


@cache
def read_table(name: str) -> tuple[Mapping[str, str], ...]:
    """Read one CSV table of the package.

    Parameters
    ----------
    name : str
        Path inside the reference folder, such as ``data/crops/containers.csv``.

    Returns
    -------
    rows : tuple of mapping
        The rows, every value as text.

    Raises
    ------
    InputFileError
        If the table is missing, or a row has another number of columns than the header.
    """
    path = resources.files("sowbench.reference").joinpath(*name.split("/"))
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        problem = Problem(name, None, None, None, "the table is missing from the package.")
        raise InputFileError([problem]) from error
    reader = csv.DictReader(text.splitlines())
    rows = []
    problems = []
    for number_, row in enumerate(reader, start=2):
        if None in row or any(value is None for value in row.values()):
            message = f"a row must have {len(reader.fieldnames or ())} columns."
            problems.append(Problem(name, number_, None, None, message))
        rows.append(row)
    if problems:
        raise InputFileError(problems)
    return tuple(rows)


@cache
def sources() -> Mapping[str, Source]:
    """Every source that a table names, by its id."""
    return {
        row["id"]: Source(row["id"], row["citation"], row["grade"], row["seen"], row["topic"])
        for row in read_table("sources.csv")
    }


def number(text: str) -> float | None:
    """A number from a table's cell; a blank or words give None."""
    try:
        return float(text)
    except ValueError:
        return None


def standing(fact: Fact) -> int:
    """How well a value is founded, 0 the best.

    The house's own records come first, then seen grades A and B, computed values, grade C,
    common practice, memory and assumptions.
    """
    if fact.basis != "seen":
        return _BASIS_STANDING.get(fact.basis, 8)
    known = sources()
    ids = [each.strip().partition(" ")[0] for each in fact.source.split(";")]
    grades = [known[each].grade for each in ids if each in known]
    return min((_GRADE_STANDING[each] for each in grades), default=8)


def choose(candidates: Iterable[Candidate]) -> Fact | None:
    """Choose the value to use and keep the others beside it.

    The order is: a rank given in the table, nearness to the crop, standing of the source,
    a source that names the crop alone, and the order of the tables.

    Parameters
    ----------
    candidates : iterable of Candidate
        Every value found.

    Returns
    -------
    fact : Fact or None
        The value used, with the others of the same nearness or nearer in ``others``; None if
        there is nothing to use.
    """
    ordered = sorted(
        candidates, key=lambda each: (each.rank, each.scope, standing(each.fact), each.pooled)
    )
    if not ordered or ordered[0].rank >= NEVER_USED_RANK:
        return None
    first = ordered[0]
    others: list[Fact] = []
    seen = {(first.fact.value, first.fact.low, first.fact.source)}
    for each in ordered[1:]:
        said = (each.fact.value, each.fact.low, each.fact.source)
        if each.scope <= max(first.scope, 1) and said not in seen:
            seen.add(said)
            others.append(each.fact)
    return replace(first.fact, others=tuple(others), why=_reason(first, others))


def _reason(used: Candidate, others: Sequence[Fact]) -> str:
    """Say why this value is used, after what its own table says of it."""
    reasons = [used.fact.why] if used.fact.why else []
    if others and used.rank >= _USUAL_RANK:
        better = [each for each in others if standing(each) < standing(used.fact)]
        if not better and any(standing(each) > standing(used.fact) for each in others):
            reasons.append("best-founded of the values found")
    return "; ".join(reasons)
