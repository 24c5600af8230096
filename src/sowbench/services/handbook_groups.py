"""The list of the handbook, folded by groups of crops and kinds of containers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sowbench.services import wording

if TYPE_CHECKING:
    from sowbench.domain.records import Crop
    from sowbench.services.handbook import IndexLine


@dataclass(frozen=True, slots=True)
class IndexGroup:
    """Crops of one group or containers of one kind, folded together in the list."""

    title: str
    lines: tuple[IndexLine, ...]


def grouped(lines: Iterable[tuple[IndexLine, str]]) -> tuple[IndexGroup, ...]:
    """Put lines together by their group or kind, as the handbook has them in turn.

    Parameters
    ----------
    lines : iterable of (IndexLine, str)
        Each with its group; blank is one of the house's own.

    Returns
    -------
    groups : tuple of IndexGroup
        In the order of their first lines.
    """
    found: dict[str, list[IndexLine]] = {}
    for line, name in lines:
        found.setdefault(name, []).append(line)
    return tuple(
        IndexGroup(wording.sentence_start(name.replace("_", " ")) or "Of your own", tuple(each))
        for name, each in found.items()
    )


def group_of(crop: Crop) -> str:
    """Return the group of a crop.

    Parameters
    ----------
    crop : Crop
        The crop.

    Returns
    -------
    group : str
        As "brassica"; blank if nobody has given it one.
    """
    fact = crop.facts.get("group")
    return "" if fact is None else str(fact.value)
