"""How a shown number came about: what went in, the formula, the result, and every source."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from sowbench.reference.card_layout import cited

if TYPE_CHECKING:
    from datetime import date

    from sowbench.domain.records import Fact
    from sowbench.reference.catalog import Catalog
    from sowbench.reference.tables import Source

NOTHING_CHANGED: Final = (
    "Every value is the published one, yours from the house page, learned from this house's own "
    "finished sowings, or an assumption, as marked. What was learned stands under Learned."
)
ASSUMED: Final = "assumption"
YOURS: Final = "yours"
HOUSE: Final = "your house"
PLANNED: Final = "the plan"
WORKED_OUT: Final = "worked out here"
_SAID: Final = {
    "seen": "published",
    "computed": "computed from published values",
    "house": HOUSE,
    "from memory": "from memory",
    "common practice": "common practice",
    "assumption": ASSUMED,
    "kin": "borrowed from its kin",
}


@dataclass(frozen=True, slots=True)
class Input:
    """One value that went in.

    Attributes
    ----------
    name : str
        What it is.
    value : str
        The value as written.
    unit : str
        Its unit.
    source : str
        Where it comes from: ids of the reference's sources, or words.
    basis : str
        Published, yours, assumption and so on.
    why : str
        Why this value, where the reference says it.
    """

    name: str
    value: str
    unit: str = ""
    source: str = ""
    basis: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One step of the reckoning: in words, in symbols, and what came out."""

    words: str
    symbols: str = ""
    result: str = ""


@dataclass(frozen=True, slots=True)
class Working:
    """The working of one number, as the dialog shows it.

    Attributes
    ----------
    title : str
        What was asked.
    subject : str
        Of what: the sowing, order, place or job.
    result : str
        The number with its unit.
    inputs : tuple of Input
        What went in.
    lines : tuple of Line
        The reckoning in its sequence.
    figure : float, date or None
        What was worked out here.
    planned : float, date or None
        What the plan says; None where the plan has no such number.
    agrees : str
        Whether both are the same, in words.
    changed : str
        What the house's own records changed.
    sources : tuple of (str, str)
        Id and citation of what is cited.
    where : str
        Section of the model that has it in full.
    """

    title: str
    subject: str
    result: str
    inputs: tuple[Input, ...]
    lines: tuple[Line, ...]
    figure: float | date | None = None
    planned: float | date | None = None
    agrees: str = ""
    changed: str = NOTHING_CHANGED
    sources: tuple[tuple[str, str], ...] = ()
    where: str = ""


def reference_input(facts: Mapping[str, Fact], key: str, name: str) -> Input:
    """Take a value of a reference card.

    Parameters
    ----------
    facts : mapping of str to Fact
        Facts of a crop or container.
    key : str
        Which of them.
    name : str
        What it is, in words.

    Returns
    -------
    given : Input
        With its source and basis; blank if the reference has no such value.
    """
    fact = facts.get(key)
    if fact is None:
        return Input(name, "not given")
    return Input(
        name, amount(fact.value), fact.unit, _source_words(fact), said(fact.basis), fact.why
    )


def _source_words(fact: Fact) -> str:
    """Name the source of a fact; a basis that says it all needs no name."""
    return cited(fact.source, "") if fact.source not in {"", fact.basis} else ""


def said(basis: str) -> str:
    """Say on what a value rests.

    Parameters
    ----------
    basis : str
        Basis as the reference has it.

    Returns
    -------
    words : str
        As a grower says it.
    """
    return _SAID.get(basis, basis)


def amount(value: object) -> str:
    """Write a value with no more digits than it needs.

    Parameters
    ----------
    value : object
        A number, a word, or None.

    Returns
    -------
    text : str
        As "12", "0.034", "1,240", "yes".
    """
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return f"{value:,}"
    if isinstance(value, float):
        if value == round(value) and abs(value) < 1e9:
            return f"{value:,.0f}"
        if abs(value) >= 100:
            return f"{value:,.1f}"
        return f"{value:.3g}"
    return str(value)


def compared(here: str, plan: str, *, is_same: bool) -> str:
    """Say whether what was worked out here is what the plan says.

    Parameters
    ----------
    here, plan : str
        Both as written.
    is_same : bool
        Whether they are the same.

    Returns
    -------
    sentence : str
        One sentence.
    """
    if is_same:
        return f"The plan has the same: {plan}."
    return (
        f"The plan says {plan}; with what is entered now it comes to {here}. Orders, seed or house "
        "have changed since the plan was made: plan again to bring them together."
    )


def citations(
    inputs: Iterable[Input], catalog: Catalog, more: Iterable[str] = ()
) -> tuple[tuple[str, str], ...]:
    """List what inputs cite.

    Parameters
    ----------
    inputs : iterable of Input
        The inputs.
    catalog : Catalog
        Reference with its sources.
    more : iterable of str, default ()
        Further ids.

    Returns
    -------
    sources : tuple of (str, str)
        Id and citation, by id.
    """
    sources: Mapping[str, Source] = catalog.sources
    named = {
        word.strip() for each in inputs for word in each.source.replace(",", ";").split(";")
    } | set(more)
    return tuple((name, sources[name].citation) for name in sorted(named) if name in sources)
