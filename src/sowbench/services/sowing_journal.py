"""The journal of a sowing, an entry a line, as one would say it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from sowbench.domain.journal import EntryKind
from sowbench.services import wording

if TYPE_CHECKING:
    from sowbench.domain.book import Kept
    from sowbench.domain.journal import Entry

_MOST_TRAYS: Final = 6
_READINGS: Final = {
    "ec_ms_cm": ("EC", "mS/cm"),
    "ph": ("pH", ""),
    "temp_mix_c": ("mix", "°C"),
    "temp_air_c": ("air", "°C"),
    "plants_per_m2": ("", "plants a square meter"),
    "ready_to_enter_at": ("may be entered again", ""),
    "product": ("", ""),
    "feed": ("", ""),
    "found": ("", ""),
    "n_found": ("", "found"),
    "n_seeds": ("", "seeds"),
    "last": ("", ""),
    "n_cells_per_tray": ("", "cells a tray"),
}
_UNSAID: Final = {"last", "n_cells_per_tray"}


@dataclass(frozen=True, slots=True)
class JournalLine:
    """One entry as the page shows it.

    Attributes
    ----------
    id : str
        Its id.
    seq : int
        Its number of arrival.
    day : date
        Day in the house.
    when : str
        Day and time, as one says them.
    person : str
        Who wrote it.
    kind : str
        Kind of entry.
    words : str
        What happened.
    note : str
        What was written besides.
    is_struck : bool
        Whether a later entry strikes or replaces it.
    corrects : str
        Id of the entry that it strikes or replaces; blank if none.
    has_map : bool
        Whether it maps a tray cell by cell.
    """

    id: str
    seq: int
    day: date
    when: str
    person: str
    kind: str
    words: str
    note: str
    is_struck: bool
    corrects: str
    has_map: bool


def journal_lines(
    kept: Sequence[Kept], zone: str, *, is_day_fixed: bool = False
) -> tuple[JournalLine, ...]:
    """Write entries as lines.

    Parameters
    ----------
    kept : sequence of Kept
        Entries.
    zone : str
        Time zone of the house.
    is_day_fixed : bool, default False
        Whether the day in the house is a fixed one, as in the demo, so that clocks tell another.

    Returns
    -------
    lines : tuple of JournalLine
        In the same order.
    """
    return tuple(
        JournalLine(
            each.entry.id,
            each.seq,
            each.entry.day_date,
            _when(each.entry, zone, is_day_fixed=is_day_fixed),
            each.entry.person,
            each.entry.kind.value,
            entry_words(each.entry),
            each.entry.note,
            bool(each.struck_by),
            each.entry.corrects,
            bool(each.entry.cells),
        )
        for each in kept
    )


def _when(entry: Entry, zone: str, *, is_day_fixed: bool) -> str:
    """Say the day, and the time if it was written on that day."""
    day = wording.day(entry.day_date)
    if entry.at is None:
        return day
    local = entry.at.astimezone(ZoneInfo(zone))
    clock = f"{local.hour}:{local.minute:02d}"
    if is_day_fixed or local.date() == entry.day_date:
        return f"{day}, {clock}"
    return f"{day}, written {wording.day(local.date())} {clock}"


def entry_words(entry: Entry) -> str:
    """Say what an entry says.

    Parameters
    ----------
    entry : Entry
        The entry.

    Returns
    -------
    words : str
        As "Counted tray 4: 112 of 128 right".
    """
    kind = entry.kind
    trays = _trays(entry)
    n, n_of = entry.n, entry.n_of
    if kind is EntryKind.CORRECTED:
        return f"Struck an entry{f': {entry.reason}' if entry.reason else ''}"
    head = wording.sentence_start(kind.value)
    if trays:
        head += f" {trays}"
    parts: list[str] = []
    if kind is EntryKind.COUNTED and n is not None:
        parts.append(f"{n:,} of {n_of:,} right" if n_of is not None else f"{n:,} right")
    elif kind is EntryKind.SOWN:
        parts += [wording.count(n, "cell")] if n is not None else []
        if entry.n_containers:
            parts.append(f"{entry.n_containers:,} x {entry.container}".rstrip(" x"))
        parts += [f"lot {entry.lot}"] if entry.lot else []
    elif kind is EntryKind.DELIVERED:
        parts += [wording.count(n, "plant")] if n is not None else []
        parts += [f"for {entry.order}"] if entry.order else []
        parts += ["the last of it"] if entry.values.get("last") == 1 else []
    elif kind is EntryKind.GRADED and n is not None:
        parts.append(f"{n:,} fit{f' of {n_of:,}' if n_of is not None else ''}")
    elif kind in {EntryKind.RETURNED, EntryKind.WASHED}:
        parts += [wording.count(n, "tray")] if n is not None else []
        parts += [entry.container] if entry.container else []
    elif n is not None:
        noun = "plant" if kind in _IN_PLANTS else "cell"
        parts.append(wording.count(n, noun))
        if kind is EntryKind.POTTED_ON and entry.n_containers:
            parts.append(f"into {entry.n_containers:,} x {entry.container}")
    if entry.place:
        parts.append(f"to {entry.place}" if kind in _TO else f"in {entry.place}")
    if entry.reason:
        parts.append(entry.reason)
    parts += _reading_words(entry)
    return f"{head}: {', '.join(parts)}" if parts else head


_IN_PLANTS: Final = {EntryKind.BOUGHT_IN, EntryKind.POTTED_ON, EntryKind.GRAFTED}
_TO: Final = {EntryKind.MOVED, EntryKind.PULLED, EntryKind.SPACED}


def _trays(entry: Entry) -> str:
    """Name the trays of an entry."""
    if not entry.trays:
        return ""
    if len(entry.trays) > _MOST_TRAYS:
        return f"{len(entry.trays)} trays, {min(entry.trays)} to {max(entry.trays)}"
    names = wording.listed(str(each) for each in entry.trays)
    return f"tray{'s' if len(entry.trays) > 1 else ''} {names}"


def _reading_words(entry: Entry) -> list[str]:
    """Say the readings of an entry."""
    out = []
    known = [name for name in _READINGS if name in entry.values]
    for name in (*known, *(each for each in entry.values if each not in _READINGS)):
        if name in _UNSAID:
            continue
        value = entry.values[name]
        label, unit = _READINGS.get(name, (name, ""))
        text = f"{value:g}" if isinstance(value, int | float) else str(value).replace("T", " ")
        out.append(" ".join(part for part in (label, text, unit) if part))
    return out


def text_fields(entry: Entry) -> dict[str, str]:
    """Return the fields of an entry as the texts of a form.

    Parameters
    ----------
    entry : Entry
        The entry.

    Returns
    -------
    fields : dict of str to str
        Those that are not blank, by name.
    """
    plain = ("order", "place", "crop", "variety", "lot", "container", "note", "person", "reason")
    fields = {"day_date": entry.day_date.isoformat()}
    fields |= {name: getattr(entry, name) for name in plain if getattr(entry, name)}
    for name in ("n", "n_of", "n_containers"):
        if getattr(entry, name) is not None:
            fields[name] = str(getattr(entry, name))
    if entry.trays:
        fields["trays"] = ", ".join(str(each) for each in entry.trays)
    for name, value in entry.values.items():
        fields[f"values.{name}"] = f"{value:g}" if isinstance(value, int | float) else value
    return fields
