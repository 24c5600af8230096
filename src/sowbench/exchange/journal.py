"""The journal in: journal.csv to the entries that a new plan starts from."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from sowbench.domain.journal import PLAN_KINDS, Entry, EntryKind
from sowbench.domain.life import N_TRAYS_MAX
from sowbench.exchange.fields import Fields, one_of
from sowbench.exchange.tables import Table, read_table
from sowbench.science.errors import InputFileError, Problem, UnknownNameError

COLUMNS = (
    "entry",
    "date",
    "kind",
    "sowing",
    "order",
    "n",
    "place",
    "crop",
    "variety",
    "lot",
    "container",
    "n_containers",
    "trays",
    "corrects",
    "note",
)
REQUIRED = ("date", "kind", "sowing")
# Kept in a journal for other uses; a plan does not need them.
OTHER_KINDS = tuple(
    each.value for each in EntryKind if each not in {*PLAN_KINDS, EntryKind.CORRECTED}
)
STRUCK = EntryKind.CORRECTED.value


@dataclass(frozen=True, slots=True)
class JournalRead:
    """Entries of a file that stand, and notes for the person who gave it."""

    entries: tuple[Entry, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Line:
    """One row: an entry, or None for a kind that a plan does not need, and what it corrects."""

    row: int
    id: str
    entry: Entry | None
    corrects: str


def read_journal(
    path: str | Path,
    *,
    resolve_crop: Callable[[str], str],
    places: Collection[str] | None = None,
    orders: Collection[str] | None = None,
    sowings: Collection[str] | None = None,
    containers: Collection[str] | None = None,
    resolve_container: Callable[[str], str] | None = None,
) -> JournalRead:
    """Read journal.csv, or a workbook with the same headers.

    Parameters
    ----------
    path : str or Path
        File to read.
    resolve_crop : callable
        From any spelling of a crop to its id; raises UnknownNameError.
    places, orders, containers : collection of str or None, default None
        Names known; None takes any.
    sowings : collection of str or None, default None
        Sowings of the plan that is kept; a sowing that is none of them needs an entry `sown` with
        its crop and container. None takes any.
    resolve_container : callable or None, default None
        From another spelling of a container to its id; raises UnknownNameError.

    Returns
    -------
    read : JournalRead
        Entries that stand after all corrections, in file order; an entry that was sent twice
        under the same id is counted once.

    Raises
    ------
    InputFileError
        With every problem of the file; nothing of it is taken then.
    """
    table = read_table(path, COLUMNS, REQUIRED, sheet="journal")
    problems: list[Problem] = []
    lines: dict[str, _Line] = {}
    cells_of: dict[str, Fields] = {}
    n_other = n_twice = 0
    for row in table.rows:
        cells = Fields(table, row, problems)
        line = _line(cells, resolve_crop, places, orders, containers, resolve_container)
        if line is None:
            continue
        earlier = lines.get(line.id)
        if earlier is not None:
            if _same(earlier, line):
                n_twice += 1
            else:
                cells.problem(
                    "entry",
                    f"This entry stands in row {earlier.row} with other values; correct an entry by"
                    " a new one with its id under corrects.",
                )
            continue
        lines[line.id] = line
        cells_of[line.id] = cells
        n_other += line.entry is None and not line.corrects
    standing = _after_corrections(lines, cells_of)
    entries = [each.entry for each in standing if each.entry is not None]
    _check_sequence(entries, cells_of, sowings)
    if problems:
        raise InputFileError(sorted(problems, key=lambda each: each.row or 0))
    return JournalRead(tuple(entries), (*table.notes, *_notes(table, n_other, n_twice)))


def _line(
    cells: Fields,
    resolve_crop: Callable[[str], str],
    places: Collection[str] | None,
    orders: Collection[str] | None,
    containers: Collection[str] | None,
    resolve_container: Callable[[str], str] | None,
) -> _Line | None:
    """Read one row; None if anything in it is wrong."""
    name = cells.text("entry") or f"row {cells.number}"
    day = cells.day("date", required=True)
    kind = " ".join(cells.text("kind", required=True).casefold().replace("_", " ").split())
    corrects = cells.text("corrects")
    if kind == STRUCK:
        if not corrects:
            cells.problem("kind", "An entry 'corrected' needs the id of what it strikes: corrects.")
        return _Line(cells.number, name, None, corrects) if cells.ok else None
    if kind in OTHER_KINDS:
        return _Line(cells.number, name, None, corrects) if cells.ok else None
    if kind not in PLAN_KINDS:
        if kind:
            known = [each.value for each in EntryKind]
            near = UnknownNameError.among(kind, "kind", known).nearest
            advice = f" Did you mean {near[0]!r}?" if near else ""
            main = one_of([each.value for each in PLAN_KINDS])
            cells.problem("kind", f"kind must be {main}, or another of the journal.{advice}")
        return None
    entry = Entry(
        id=name,
        day_date=day or date.min,
        kind=EntryKind(kind),
        sowing=cells.name("sowing"),
        n=cells.whole("n", least=1 if kind in {"sown", "delivered"} else 0),
        order=_known(cells, "order", orders),
        place=_known(cells, "place", places),
        crop=cells.resolved("crop", resolve_crop, required=False),
        variety=cells.text("variety"),
        lot=cells.text("lot"),
        container=_known(cells, "container", containers, resolve_container),
        n_containers=cells.whole("n_containers", least=1),
        note=cells.text("note"),
        trays=_trays(cells),
    )
    _check_needs(cells, entry)
    return _Line(cells.number, name, entry, corrects) if cells.ok else None


def _known(
    cells: Fields,
    column: str,
    known: Collection[str] | None,
    resolve: Callable[[str], str] | None = None,
) -> str:
    """Read a name that must be known if it is given."""
    names = [cells.text(column)] if cells.has(column) else []
    return "".join(cells.known(column, names, known, resolve))


def _trays(cells: Fields) -> tuple[int, ...]:
    """Read numbers of trays, as 3|4|7-9."""
    found: set[int] = set()
    for each in cells.names("trays"):
        first, _, last = each.replace(" ", "").partition("-")
        ends = [first, last or first]
        if not all(end.isascii() and end.isdigit() and 0 < int(end) <= N_TRAYS_MAX for end in ends):
            cells.problem("trays", "trays must be numbers of trays from 1, as 3|4 or 7-9.")
            return ()
        found.update(range(int(ends[0]), int(ends[1]) + 1))
    return tuple(sorted(found))


def _check_needs(cells: Fields, entry: Entry) -> None:
    """Check that an entry gives what its kind says nothing without."""
    needs = {
        EntryKind.SOWN: ("n", "place"),
        EntryKind.MOVED: ("place",),
        EntryKind.COUNTED: ("n",),
        EntryKind.LOST: ("n",),
        EntryKind.DUMPED: (),
        EntryKind.DELIVERED: ("n", "order"),
    }
    whole_trays = entry.kind is EntryKind.LOST and bool(entry.trays)
    for column in needs[entry.kind]:
        if not cells.has(column) and not whole_trays:
            cells.problem(column, f"An entry {entry.kind.value!r} needs {column}.")


def _same(one: _Line, other: _Line) -> bool:
    """Tell whether two rows say the same."""
    return (one.entry, one.corrects) == (other.entry, other.corrects)


def _after_corrections(lines: dict[str, _Line], cells_of: dict[str, Fields]) -> list[_Line]:
    """Drop the entries that a later one corrects."""
    struck: dict[str, str] = {}
    for line in lines.values():
        if not line.corrects:
            continue
        cells = cells_of[line.id]
        target = lines.get(line.corrects)
        if target is None:
            cells.problem("corrects", str(UnknownNameError.among(line.corrects, "entry", lines)))
        elif target.row >= line.row:
            cells.problem("corrects", "An entry can only correct an earlier one.")
        elif line.corrects in struck:
            cells.problem(
                "corrects",
                f"That entry is corrected by {struck[line.corrects]!r} already; correct that one.",
            )
        else:
            struck[line.corrects] = line.id
    return [each for each in lines.values() if each.id not in struck]


def _check_sequence(
    entries: list[Entry], cells_of: dict[str, Fields], sowings: Collection[str] | None
) -> None:
    """Check each sowing's entries against each other: sown once, first, and no more lost."""
    sown: dict[str, Entry] = {}
    for entry in entries:
        if entry.kind is not EntryKind.SOWN:
            continue
        if entry.sowing in sown:
            cells_of[entry.id].problem(
                "sowing", f"{entry.sowing!r} was sown in entry {sown[entry.sowing].id!r} already."
            )
            continue
        sown[entry.sowing] = entry
        if sowings is not None and entry.sowing not in sowings:
            for column, value in (("crop", entry.crop), ("container", entry.container)):
                if not value:
                    cells_of[entry.id].problem(
                        column, f"{entry.sowing!r} is not in the kept plan, so it needs {column}."
                    )
    gone: dict[str, int] = {}
    for entry in entries:
        start = sown.get(entry.sowing)
        if start is None:
            if sowings is not None and entry.sowing not in sowings:
                error = UnknownNameError.among(entry.sowing, "sowing", {*sowings, *sown})
                cells_of[entry.id].problem("sowing", str(error))
            continue
        if entry.day_date < start.day_date:
            cells_of[entry.id].problem(
                "date", f"{entry.sowing!r} was sown on {start.day_date}, after this."
            )
        _check_trays(cells_of[entry.id], entry, start, planned=entry.sowing in (sowings or ()))
        n_cells = start.n or 0
        if entry.kind in {EntryKind.LOST, EntryKind.DUMPED}:
            gone[entry.sowing] = gone.get(entry.sowing, 0) + (entry.n or 0)
            if gone[entry.sowing] > n_cells:
                cells_of[entry.id].problem("n", f"Only {n_cells} cells were sown; more are lost.")
        elif entry.kind is EntryKind.COUNTED and (entry.n or 0) > n_cells:
            cells_of[entry.id].problem("n", f"Only {n_cells} cells were sown; more are counted.")


def _check_trays(cells: Fields, entry: Entry, start: Entry, *, planned: bool) -> None:
    """Check that the trays of an entry are some of those that were sown."""
    if not entry.trays:
        return
    if start.n_containers is None:
        if not planned:
            cells.problem(
                "trays",
                f"How many trays {entry.sowing!r} has is not known: give n_containers in entry"
                f" {start.id!r}, where it was sown.",
            )
    elif entry.trays[-1] > start.n_containers:
        cells.problem(
            "trays", f"{entry.sowing!r} was sown in {start.n_containers} trays, numbered from 1."
        )


def _notes(table: Table, n_other: int, n_twice: int) -> list[str]:
    """Say what was left aside."""
    notes = []
    if n_other:
        notes.append(f"{table.file}: {n_other} entries of kinds that a plan does not use.")
    if n_twice:
        notes.append(f"{table.file}: {n_twice} entries stand twice and were counted once.")
    return notes
