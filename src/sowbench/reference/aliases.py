"""One id for every spelling of a crop or a container."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping
from functools import cache

from sowbench.reference.tables import read_table
from sowbench.science.errors import UnknownNameError

__all__ = [
    "container_id",
    "crop_id",
    "crop_ids",
    "fold_name",
    "names_of",
]


def fold_name(name: str) -> str:
    """Spell a name the way the alias tables are searched: plain letters, single spaces."""
    plain = unicodedata.normalize("NFKD", name.replace("\u2019", "'").replace("_", " "))
    letters = "".join(each for each in plain if not unicodedata.combining(each))
    return " ".join(letters.casefold().split())


@cache
def _crop_table() -> Mapping[str, tuple[str, ...]]:
    """Ids by folded name; no ids for what the tables know and this reference does not raise."""
    return {
        fold_name(row["name"]): tuple(each for each in row["ids"].split("|") if each)
        for row in read_table("aliases.csv")
    }


@cache
def _container_table() -> Mapping[str, str]:
    return {fold_name(row["name"]): row["id"] for row in read_table("container_aliases.csv")}


def _spellings(name: str) -> Iterable[str]:
    """Spell a name as given, with blanks for hyphens, and in the singular."""
    folded = fold_name(name)
    for each in (folded, folded.replace("-", " ")):
        yield each
        for ending, instead in (("ies", "y"), ("oes", "o"), ("es", ""), ("s", "")):
            if each.endswith(ending) and len(each) > len(ending) + 2:
                yield each.removesuffix(ending) + instead


def crop_ids(name: str) -> tuple[str, ...]:
    """Every crop that a name stands for: one for a plain name, several for a pooled row.

    Parameters
    ----------
    name : str
        Any spelling of the source tables or a common other name, such as ``courgette`` or
        ``tomato, pepper, eggplant``.

    Returns
    -------
    ids : tuple of str
        Crop ids; empty for a name that the source tables know but this reference does not raise,
        such as ``wheat``.

    Raises
    ------
    UnknownNameError
        If no table has the name.
    """
    table = _crop_table()
    for spelling in _spellings(name):
        if spelling in table:
            return table[spelling]
    ours = [known for known, ids in table.items() if len(ids) == 1]
    raise UnknownNameError(name, "crop", _ids_of(UnknownNameError.among(name, "crop", ours)))


def _ids_of(error: UnknownNameError) -> list[str]:
    """Turn near spellings into near ids, each once."""
    table = _crop_table()
    near = [each for spelling in error.nearest for each in table[spelling]]
    return list(dict.fromkeys(near))


def crop_id(name: str) -> str:
    """Resolve a name to the one crop it stands for.

    Parameters
    ----------
    name : str
        A crop as someone calls it.

    Returns
    -------
    id : str
        Crop id.

    Raises
    ------
    UnknownNameError
        If no crop has the name, or several do; the near ones are named.
    """
    ids = crop_ids(name)
    if len(ids) == 1:
        return ids[0]
    raise UnknownNameError(name, "crop", ids)


def container_id(name: str) -> str:
    """Resolve a name to a container id.

    Parameters
    ----------
    name : str
        A container as someone calls it, such as ``plug-128`` or ``128-cell tray``.

    Returns
    -------
    id : str
        Container id.

    Raises
    ------
    UnknownNameError
        If no container has the name; the near ones are named.
    """
    table = _container_table()
    for spelling in (fold_name(name), fold_name(name).replace(" ", "-")):
        if table.get(spelling):
            return table[spelling]
    known = [spelling for spelling, id_ in table.items() if id_]
    near = UnknownNameError.among(name, "container", known).nearest
    raise UnknownNameError(name, "container", list(dict.fromkeys(table[each] for each in near)))


@cache
def names_of(crop: str) -> tuple[str, ...]:
    """Other names by which a crop may be ordered, without those of the source tables."""
    return tuple(
        row["name"]
        for row in read_table("aliases.csv")
        if row["kind"] == "name" and row["ids"] == crop
    )
