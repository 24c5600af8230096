"""A card as data, and as text in a given width."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any, Final

from sowbench.domain.records import Fact
from sowbench.reference.tables import sources

__all__ = [
    "Card",
    "CardRow",
    "CardTable",
    "Section",
    "card_dict",
    "cited",
    "disagreeing",
    "fact_row",
    "render_text",
    "show_number",
    "sources_of",
]

_LABEL_WIDTH: Final = 32
_SOURCE_WIDTH: Final = 22
# A last column narrower than this is no column any more.
_LEAST_LAST_COLUMN: Final = 24
# Units that the label says already.
_UNSAID_UNITS: Final = frozenset(
    {"seeds", "plants", "seedlings", "seeds/g", "cells per tray", "container kinds"}
)
_MARKS: Final = {
    "seen": "",
    "computed": "computed",
    "from memory": "memory",
    "common practice": "practice",
    "assumption": "assumed",
    "house": "house",
    "kin": "from kin",
}
# Values closer than this are no disagreement (assumption): degrees, millimeters, else a tenth.
_SAME_WITHIN: Final = {"°C": 1.5, "mm": 1.5}
_SAME_SHARE: Final = 0.1
LEGEND: Final = (
    "Marks: computed = worked out from the source; practice = common practice, no single source; "
    "memory = recalled, not looked up; assumed = our assumption, change it in the house file."
)


@dataclass(frozen=True, slots=True)
class CardRow:
    """One value: what it is, how much, from where, and what the others say."""

    label: str
    value: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    source: str = ""
    basis: str = ""
    note: str = ""
    others: tuple[str, ...] = ()
    disagree: bool = False


@dataclass(frozen=True, slots=True)
class CardTable:
    """A small table inside a section."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a card."""

    title: str
    rows: tuple[CardRow, ...] = ()
    table: CardTable | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Card:
    """Everything the reference says of a crop or a container."""

    kind: str
    id: str
    title: str
    subtitle: str
    sections: tuple[Section, ...]
    sources: tuple[tuple[str, str], ...] = field(default=())


def card_dict(card: Card) -> dict[str, Any]:
    """The card as plain values for JSON."""
    return asdict(card)


def show_number(value: float) -> str:
    """A number with thousands separated and no more than three significant digits after 100."""
    if value != value or value in {float("inf"), float("-inf")}:  # noqa: PLR0124 - NaN
        return "never"
    if abs(value) >= 1000:
        return f"{value:,.0f}"
    return f"{value:.3g}"


def _show(fact: Fact) -> str:
    """Value or range in words."""
    value = fact.value
    if value is None:
        return "not known"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        low, dash, high = value.partition("-")
        if dash and low.isdigit() and high.isdigit():
            return low if low == high else f"{low} to {high}"
        return value.replace("|", ", ")
    return show_number(value)


def _range(fact: Fact) -> str:
    if fact.low is None or fact.high is None:
        return ""
    if fact.low == fact.high:
        return show_number(fact.low)
    return f"{show_number(fact.low)} to {show_number(fact.high)}"


def cited(source: str, basis: str) -> str:
    """Short citation with its mark, such as ``C01`` or ``BW74, memory``."""
    mark = _MARKS.get(basis, basis)
    ids = "; ".join(each.strip() for each in source.split(";"))
    if ids == "memory" and basis != "from memory":
        return f"memory, {mark}"
    if ids in {"memory", "common practice", "assumption", "house file", ""}:
        return mark
    return f"{ids}, {mark}" if mark else ids


def _disagrees(used: Fact, other: Fact) -> bool:
    """Whether another source's range does not touch the one used."""
    if isinstance(used.value, str) or isinstance(other.value, str):
        return False
    if used.value is None or other.value is None:
        return False
    low, high = _bounds(used)
    other_low, other_high = _bounds(other)
    room = _SAME_WITHIN.get(used.unit, _SAME_SHARE * abs(high))
    return other_low > high + room or other_high < low - room


def _bounds(fact: Fact) -> tuple[float, float]:
    value = float(fact.value or 0.0)
    low = value if fact.low is None else min(fact.low, value)
    high = value if fact.high is None else max(fact.high, value)
    return low, high


def fact_row(label: str, fact: Fact, *, with_others: bool = True) -> CardRow:
    """Turn a fact into a row of a card.

    Parameters
    ----------
    label : str
        What the value is.
    fact : Fact
        Value with its source and the others.
    with_others : bool, default True
        Whether other sources are listed; several that say the same are put together.

    Returns
    -------
    row : CardRow
        The row; ``disagree`` is true if the range of another source does not touch it.
    """
    grouped: dict[str, list[str]] = {}
    for each in fact.others if with_others else ():
        shown = _range(each) or _show(each)
        grouped.setdefault(shown, []).append(cited(each.source, each.basis) or "?")
    others = tuple(
        f"{shown} [{'; '.join(dict.fromkeys(names))}]" for shown, names in grouped.items()
    )
    return CardRow(
        label,
        _show(fact),
        fact.unit,
        fact.low,
        fact.high,
        fact.source,
        fact.basis,
        fact.why,
        others,
        any(_disagrees(fact, each) for each in fact.others),
    )


def disagreeing(fact: Fact) -> str:
    """What other sources say where they disagree with the value used.

    Parameters
    ----------
    fact : Fact
        Value with its others.

    Returns
    -------
    words : str
        ``sources disagree: 6 mm [C01]``; blank if none disagrees.
    """
    said = [
        f"{_range(each) or _show(each)} {each.unit} [{cited(each.source, each.basis)}]"
        for each in fact.others
        if _disagrees(fact, each)
    ]
    return f"sources disagree: {', '.join(said)}" if said else ""


def render_text(card: Card, width: int = 100) -> str:
    """The card as text.

    Parameters
    ----------
    card : Card
        What to print.
    width : int, default 100
        Columns; no line is longer.

    Returns
    -------
    text : str
        Lines without a final line break.
    """
    lines = [*_wrap(f"{card.title}   {card.id}", width)]
    lines += _wrap(card.subtitle, width)
    for section in card.sections:
        lines += ["", section.title.upper()]
        for row in section.rows:
            lines += _row_lines(row, width)
        if section.table is not None:
            lines += _table_lines(section.table, width)
        for note in section.notes:
            lines += _wrap(note, width, indent=2)
    if card.sources:
        lines += ["", "SOURCES"]
        widest = max(len(name) for name, _ in card.sources) + 4
        for name, citation in card.sources:
            lead = f"  {name}".ljust(widest)
            lines += _wrap(citation, width, lead=lead, indent=widest)
    lines += ["", *_wrap(LEGEND, width)]
    return "\n".join(line.rstrip() for line in lines)


def _wrap(text: str, width: int, *, indent: int = 0, lead: str | None = None) -> list[str]:
    """Break text into lines no wider than the width; long words break too."""
    blank = " " * indent
    return textwrap.wrap(
        text,
        width,
        initial_indent=blank if lead is None else lead,
        subsequent_indent=blank,
        break_long_words=True,
        break_on_hyphens=False,
    )


def _row_lines(row: CardRow, width: int) -> list[str]:
    """Label, value with range, source; below it the note and the others."""
    source = cited(row.source, row.basis)
    value = row.value if row.unit in _UNSAID_UNITS else f"{row.value} {row.unit}".rstrip()
    span = ""
    if row.low is not None and row.high is not None and row.low != row.high:
        span = f"{show_number(row.low)} to {show_number(row.high)}"
    if span and row.value != span:
        value = f"{value}  ({span})"
    label = f"  {row.label}".ljust(_LABEL_WIDTH)
    room = width - _LABEL_WIDTH - _SOURCE_WIDTH - 2
    tag = f"[{source}]" if source else ""
    if len(tag) > _SOURCE_WIDTH:
        room = width - _LABEL_WIDTH - len(tag) - 2
    if room < 20:
        room = width - _LABEL_WIDTH
        value, tag = f"{value} {tag}", ""
    parts = textwrap.wrap(value, room, break_on_hyphens=False) or [""]
    first = f"{label}{parts[0]}"
    if tag:
        first = f"{first.ljust(width - max(_SOURCE_WIDTH, len(tag)))}{tag}"
    lines = [first, *(" " * _LABEL_WIDTH + each for each in parts[1:])]
    if row.note:
        lines += _wrap(row.note, width, indent=_LABEL_WIDTH + 2)
    if row.others:
        lead = "SOURCES DISAGREE, also: " if row.disagree else "also: "
        lines += _wrap(f"{lead}{', '.join(row.others)}", width, indent=_LABEL_WIDTH + 2)
    return lines


def _table_lines(table: CardTable, width: int) -> list[str]:
    """Columns as wide as they need, headers broken at words; the last column wraps.

    Where the columns leave no room for the last one, each row is written out in words.
    """
    n_columns = len(table.header)
    widths = [
        max(
            *(len(row[at]) for row in table.rows),
            *(len(word) for word in table.header[at].split()),
            (len(table.header[at]) + 1) // 2,
        )
        for at in range(n_columns)
    ]
    last = width - 2 - sum(each + 2 for each in widths[:-1])
    if last < min(widths[-1], _LEAST_LAST_COLUMN):
        lines = []
        for row in table.rows:
            said = [f"{name}: {text}" for name, text in zip(table.header, row, strict=True) if text]
            lines += _wrap("; ".join(said), width, indent=4, lead="  ")
        return lines
    widths[-1] = last
    lines = []
    for row in (table.header, *table.rows):
        cells = [
            textwrap.wrap(text, widths[at], break_on_hyphens=False) or [""]
            for at, text in enumerate(row)
        ]
        for line in range(max(len(each) for each in cells)):
            parts = [each[line] if line < len(each) else "" for each in cells]
            padded = [part.ljust(widths[at] + 2) for at, part in enumerate(parts)]
            lines.append("  " + "".join(padded))
    return lines


def sources_of(facts: Iterable[Fact], extra: Sequence[str] = ()) -> tuple[tuple[str, str], ...]:
    """Citations of everything that facts and their others name, each once, in order."""
    known = sources()
    names: dict[str, None] = {}
    texts = [each.source for fact in facts for each in (fact, *fact.others)]
    for text in (*texts, *extra):
        for part in text.replace(",", ";").split(";"):
            name = part.strip().partition(" ")[0]
            if name in known and known[name].topic != "own":
                names[name] = None
    return tuple((name, known[name].citation) for name in names)
