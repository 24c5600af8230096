"""What a person should look at when an entry was taken; no entry is refused for it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

import msgspec
from sqlalchemy import Connection, select

from sowbench.domain.book import PlanState
from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.life import SowingLife
from sowbench.store import tables as t
from sowbench.store.repository import in_parts

_BEGINS: Final = {EntryKind.SOWN, EntryKind.BOUGHT_IN}
_TAKES_OFF: Final = {EntryKind.LOST, EntryKind.DUMPED}


@dataclass(frozen=True, slots=True)
class _Count:
    """Who counted which trays of a sowing."""

    person: str
    trays: frozenset[int]


@dataclass(frozen=True, slots=True)
class Known:
    """What the book knew before new entries, of what they are about."""

    ended: Mapping[str, date | None]
    sown: Mapping[str, date | None]
    named: frozenset[str]
    counts: Mapping[tuple[str, date], list[_Count]]


def what_is_known(connection: Connection, new: Sequence[Entry]) -> Known:
    """Look up what the book knows of what new entries are about, before they are written.

    Parameters
    ----------
    connection : Connection
        Connection of a unit of work.
    new : sequence of Entry
        The entries.

    Returns
    -------
    known : Known
        What it knows.
    """
    life = t.sowing_life.c
    ended: dict[str, date | None] = {}
    sown: dict[str, date | None] = {}
    named: set[str] = set()
    sowings = sorted({each.sowing for each in new if each.sowing})
    for part in in_parts(sowings):
        query = select(life.sowing, life.ended_date, life.sown_date).where(life.sowing.in_(part))
        for name, ended_date, sown_date in connection.execute(query):
            ended[name], sown[name] = ended_date, sown_date
    named |= set(ended)
    for part in in_parts(each for each in sowings if each not in named):
        current = select(t.plan.c.id).where(t.plan.c.state == PlanState.CURRENT.value)
        planned = t.planned_sowing.c
        named |= set(
            connection.execute(
                select(planned.sowing).where(planned.plan.in_(current), planned.sowing.in_(part))
            ).scalars()
        )
    return Known(ended, sown, frozenset(named), _counts(connection, new))


def _counts(connection: Connection, new: Iterable[Entry]) -> dict[tuple[str, date], list[_Count]]:
    """Look up who counted the same sowings on the same days."""
    counted = [each for each in new if each.kind is EntryKind.COUNTED and each.sowing]
    days = sorted({each.day_date for each in counted})
    found: dict[tuple[str, date], list[_Count]] = {}
    entry = t.entry.c
    for part in in_parts(sorted({each.sowing for each in counted})):
        for some_days in in_parts(days):
            query = select(entry.sowing, entry.day_date, entry.person, entry.body).where(
                entry.sowing.in_(part),
                entry.day_date.in_(some_days),
                entry.kind == EntryKind.COUNTED.value,
            )
            for sowing, day, person, body in connection.execute(query):
                trays = frozenset(msgspec.json.decode(body).get("trays", ()))
                found.setdefault((sowing, day), []).append(_Count(person, trays))
    return found


def notes_after(
    new: Sequence[Entry],
    known: Known,
    struck: Collection[str],
    lives: Mapping[str, SowingLife],
) -> dict[str, tuple[str, ...]]:
    """Say of each entry what a person should look at.

    Parameters
    ----------
    new : sequence of Entry
        The entries that were taken.
    known : Known
        What the book knew before.
    struck : collection of str
        Ids that they correct and that are in the journal.
    lives : mapping of str to SowingLife
        Where the sowings stand after them.

    Returns
    -------
    notes : dict of str to tuple of str
        Sentences by id; an entry of which nothing need be said has none.
    """
    begun = {each.sowing for each in new if each.kind in _BEGINS}
    notes: dict[str, tuple[str, ...]] = {}
    for each in new:
        said = _notes_on(each, known, begun, struck, lives.get(each.sowing))
        if said:
            notes[each.id] = tuple(said)
    return notes


def _notes_on(
    each: Entry,
    known: Known,
    begun: Collection[str],
    struck: Collection[str],
    life: SowingLife | None,
) -> list[str]:
    """Say of one entry what a person should look at."""
    said: list[str] = []
    if each.corrects and each.corrects not in struck:
        said.append(
            f"The entry that this one corrects ({each.corrects}) is not here yet; this counts from"
            " when it comes."
        )
    if not each.sowing or each.kind is EntryKind.CORRECTED:
        return said
    if each.sowing not in known.named and each.sowing not in begun:
        said.append(
            f"No sowing {each.sowing} is known, neither sown nor planned; look at the name."
        )
    ended = known.ended.get(each.sowing)
    if ended is not None and each.kind is not EntryKind.NOTED:
        said.append(f"{each.sowing} ended on {ended}; look whether this is about another sowing.")
    sown = known.sown.get(each.sowing)
    if each.kind is EntryKind.SOWN and sown is not None and not each.corrects:
        said.append(
            f"{each.sowing} was down as sown on {sown} already; what is said of the later day"
            " holds now. Correct one of them."
        )
    if each.kind is EntryKind.COUNTED:
        said += _count_notes(each, known.counts.get((each.sowing, each.day_date), ()))
    if life is not None:
        said += _life_notes(each, life)
    return said


def _count_notes(each: Entry, others: Iterable[_Count]) -> list[str]:
    """Say who else counted the same that day."""
    trays = frozenset(each.trays)
    said = []
    for other in others:
        if other.person == each.person or each.corrects:
            continue
        both = sorted(trays & other.trays)
        if both or not trays or not other.trays:
            what = each.sowing
            if both:
                some = f"Tray {both[0]}" if len(both) == 1 else f"One of these trays ({both[0]})"
                what = f"{some} of {each.sowing}"
            said.append(
                f"{what} was counted by {other.person or 'someone'} on {each.day_date} too; the"
                " count that came last holds."
            )
            break
    return said


def _life_notes(each: Entry, life: SowingLife) -> list[str]:
    """Say what does not agree with where the sowing stands."""
    said = []
    if each.kind in _TAKES_OFF and life.n_cells is not None and life.n_lost > life.n_cells:
        said.append(
            f"{life.n_lost} cells of {each.sowing} are down as lost, more than the {life.n_cells}"
            " sown."
        )
    sown = max(life.n_cells or 0, life.n_seeds or 0)
    if each.kind is EntryKind.DELIVERED and sown and life.n_delivered > sown:
        said.append(
            f"{life.n_delivered} plants of {each.sowing} are down as handed over, more than the"
            f" {sown} cells or seeds sown; look at the number."
        )
    unknown = sorted(set(each.trays) - {tray.number for tray in life.trays})
    if unknown:
        which = ", ".join(str(number) for number in unknown[:5])
        noun = "tray" if len(unknown) == 1 else "trays"
        said.append(f"{each.sowing} has no {noun} {which}; it has {_range(life)}.")
    return said


def _range(life: SowingLife) -> str:
    """Say which trays a sowing has."""
    if not life.trays:
        return "none"
    return f"trays {life.trays[0].number} to {life.trays[-1].number}"
