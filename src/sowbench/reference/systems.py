"""Which system takes which containers, and what ready means there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from sowbench.domain.records import Container, ContainerClass
from sowbench.reference.tables import read_table

__all__ = ["System", "systems"]


@dataclass(frozen=True, slots=True)
class System:
    """Where plants go: what it takes them in and what ready means."""

    id: str
    container_classes: tuple[ContainerClass, ...]
    container_kinds: tuple[str, ...]
    words: str
    source: str
    basis: str
    why: str = ""

    def takes(self, container: Container) -> bool:
        """Whether plants in this container can be handed over to the system.

        A kind that no system names, such as a house's own, is judged by its class alone.
        """
        if container.container_class not in self.container_classes:
            return False
        named = {kind for each in systems().values() for kind in each.container_kinds}
        return container.kind in self.container_kinds or container.kind not in named


@cache
def systems() -> Mapping[str, System]:
    """Every system of the reference, by id."""
    return {
        row["system"]: System(
            row["system"],
            tuple(ContainerClass(each) for each in row["container_classes"].split("|")),
            tuple(row["container_kinds"].split("|")),
            row["words"],
            row["source"],
            row["basis"],
            row["why"],
        )
        for row in read_table("systems.csv")
    }
