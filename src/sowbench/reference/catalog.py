"""Everything the reference knows, with the house's own values laid over it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cache

from sowbench.domain.records import (
    Container,
    ContainerClass,
    Crop,
    Emergence,
    Fact,
    ReadyRule,
)
from sowbench.reference import aliases
from sowbench.reference.containers import own_container, reference_containers
from sowbench.reference.crop_keys import flatten, house_fact
from sowbench.reference.crops import (
    base_facts,
    crop_from_facts,
    crop_rows,
    derive,
)
from sowbench.reference.labor import LaborRate, labor_defaults
from sowbench.reference.ready import (
    RuleKey,
    borrowed_rule,
    house_rules,
    reference_rules,
)
from sowbench.reference.systems import System, systems
from sowbench.reference.tables import Source, number, read_table, sources
from sowbench.reference.viability import ViabilityConstants, viability_constants
from sowbench.science.errors import OutOfRangeError, UnknownNameError

__all__ = ["Catalog", "emergence_other_record", "load_catalog"]


@dataclass(frozen=True, slots=True)
class Catalog:
    """Crops, containers, ready rules, systems and rates, each value with its source.

    Attributes
    ----------
    crops, containers : dict
        Records by id, the house's own included.
    ready_rules : dict
        Rules by (crop, container class, system).
    emergence_other : dict
        By crop, what the table of emergence that is not used gives, as text by column.
    viability : dict
        Constants of seed aging by crop, where they are known.
    """

    crops: dict[str, Crop]
    containers: dict[str, Container]
    ready_rules: dict[RuleKey, ReadyRule]
    systems: dict[str, System]
    labor: dict[str, LaborRate]
    sources: dict[str, Source]
    viability: dict[str, ViabilityConstants]
    emergence_other: dict[str, dict[str, str]]
    own: frozenset[str] = field(default_factory=frozenset)

    def crop_id(self, name: str) -> str:
        """Resolve any spelling of a crop, the house's own included; see `aliases.crop_id`."""
        if name in self.crops:
            return name
        folded = {aliases.fold_name(each): each for each in self.own if each in self.crops}
        if aliases.fold_name(name) in folded:
            return folded[aliases.fold_name(name)]
        return aliases.crop_id(name)

    def crop(self, name: str) -> Crop:
        """Crop of any spelling."""
        return self.crops[self.crop_id(name)]

    def container_id(self, name: str) -> str:
        """Resolve any spelling of a container; see `aliases.container_id`."""
        return name if name in self.containers else aliases.container_id(name)

    def container(self, name: str) -> Container:
        """Container of any spelling."""
        return self.containers[self.container_id(name)]

    def system(self, name: str) -> System:
        """System by name; one that the house added takes what ``any`` takes."""
        return self.systems.get(name, self.systems["any"])

    def cells_suit(self, crop: str, container: str) -> bool:
        """Whether a crop may stand in a container at some time of its raising."""
        return container in self.crops[crop].cells_ok

    def suits(self, crop: str, container: str, system: str) -> bool:
        """Whether a crop may be handed over to a system in a container."""
        return self.cells_suit(crop, container) and self.system(system).takes(
            self.containers[container]
        )

    def containers_for(self, crop: str, system: str) -> list[Container]:
        """Containers in which a crop can be raised for a system, ready rule included."""
        return [
            each
            for each in self.containers.values()
            if self.suits(crop, each.id, system) and self.rule_for(crop, each.id, system)
        ]

    def rule_for(self, crop: str, container: str | Container, system: str) -> ReadyRule | None:
        """Ready rule of a crop in a container for a system.

        Parameters
        ----------
        crop : str
            Crop id.
        container : str or Container
            Container or its id.
        system : str
            System; one without a rule of its own takes the rule of ``any``.

        Returns
        -------
        rule : ReadyRule or None
            The exact rule, else that of ``any``, else one borrowed from the crop's kin with a
            wider spread and the basis ``kin``; None if there is none.
        """
        record = self.containers[container] if isinstance(container, str) else container
        class_ = record.container_class
        for name in (system, "any"):
            rule = self.ready_rules.get((crop, class_, name))
            if rule is not None:
                return rule
        return self._kin_rule(crop, class_, system)

    def _kin_rule(
        self, crop: str, container_class: ContainerClass, system: str
    ) -> ReadyRule | None:
        """Borrow from kin, only for a crop that has rules of its own in other containers."""
        if not any(key[0] == crop for key in self.ready_rules):
            return None
        kin = [each.id for each in self.crops.values() if each.kin == self.crops[crop].kin]
        return borrowed_rule(crop, container_class, system, kin, self.ready_rules)


@cache
def _base() -> Catalog:
    """The reference alone."""
    containers = dict(reference_containers())
    crops = {
        crop: crop_from_facts(crop, derive(base_facts(crop), containers)) for crop in crop_rows()
    }
    others = {
        row["crop"]: {key: text for key, text in row.items() if key.startswith("other_") and text}
        for row in read_table("emergence.csv")
    }
    return Catalog(
        crops,
        containers,
        dict(reference_rules()),
        dict(systems()),
        labor_defaults(),
        dict(sources()),
        dict(viability_constants()),
        others,
    )


def load_catalog(
    own_crops: Iterable[Mapping[str, object]] = (),
    own_containers: Iterable[Mapping[str, object]] = (),
) -> Catalog:
    """Load the reference and lay the house's own values over it.

    Parameters
    ----------
    own_crops : iterable of mapping, default ()
        Each with ``id``, perhaps ``like``, and values by key: flat, such as
        ``"emergence.thermal_time_cd": 80``, or nested, such as ``"emergence": {...}``. A new crop
        borrows what it does not give from the crop it is ``like``. ``ready`` is a list of ready
        rules, each with ``container_class``, ``system`` and ``days_ref``.
    own_containers : iterable of mapping, default ()
        Each with ``id``, perhaps ``like``, and values by key.

    Returns
    -------
    catalog : Catalog
        The house's own values have the basis ``house``.

    Raises
    ------
    UnknownNameError
        If a key, or what a crop or container is ``like``, is not known.
    OutOfRangeError
        If a value is out of its limits or a new crop or container is not whole.
    """
    base = _base()
    own_crops, own_containers = tuple(own_crops), tuple(own_containers)
    if not own_crops and not own_containers:
        return replace(
            base,
            crops=dict(base.crops),
            containers=dict(base.containers),
            ready_rules=dict(base.ready_rules),
        )
    containers = dict(base.containers)
    for own in own_containers:
        made = own_container(own, containers)
        containers[made.id] = made
    facts = {crop: dict(each.facts) for crop, each in base.crops.items()}
    rules = dict(base.ready_rules)
    changed = set(facts) if own_containers else set()
    for own in own_crops:
        changed.add(_lay_over(own, facts, rules))
    crops = dict(base.crops)
    for crop in changed:
        crops[crop] = crop_from_facts(crop, derive(facts[crop], containers))
    names = {str(each.get("id", "")) for each in (*own_crops, *own_containers)}
    return replace(
        base, crops=crops, containers=containers, ready_rules=rules, own=frozenset(names)
    )


def _lay_over(
    own: Mapping[str, object],
    facts: dict[str, dict[str, Fact]],
    rules: dict[RuleKey, ReadyRule],
) -> str:
    """Lay one crop's own values over the facts; give the crop's id."""
    crop = _own_id(own, facts)
    like = str(own.get("like", "") or crop)
    if like not in facts:
        try:
            like = aliases.crop_id(like)
        except UnknownNameError as error:
            if "like" in own:
                raise
            rule = 'known, or new with like = "the crop it borrows from"'
            raise OutOfRangeError("id of a [[crop]]", rule, crop) from error
    if like != crop:
        facts[crop] = {
            key: replace(each, why=f"as {like}" + (f"; {each.why}" if each.why else ""))
            for key, each in facts[like].items()
        }
        facts[crop]["name"] = house_fact("name", crop.capitalize(), crop, None)
        rules |= {
            (crop, class_, system): replace(rule, crop=crop)
            for (name, class_, system), rule in list(rules.items())
            if name == like
        }
    for key, value in flatten(own).items():
        facts[crop][key] = house_fact(key, value, crop, facts[crop].get(key))
    rules |= house_rules(crop, own.get("ready", ()), rules)
    return crop


def _own_id(own: Mapping[str, object], facts: Mapping[str, object]) -> str:
    """Id under which a house's crop is kept: a known crop's own, else as it is written."""
    name = str(own.get("id", "")).strip()
    if not name:
        raise OutOfRangeError("id of a [[crop]]", "given", own.get("id"))
    if name in facts or "like" in own:
        return name
    try:
        return aliases.crop_id(name)
    except UnknownNameError:
        return name


def emergence_other_record(row: Mapping[str, str], used: Emergence) -> Emergence | None:
    """The other table's emergence where it differs, the rest as used.

    Parameters
    ----------
    row : mapping of str to str
        A crop's entry of `Catalog.emergence_other`.
    used : Emergence
        What is used.

    Returns
    -------
    other : Emergence or None
        None if the other table has nothing of the crop.
    """
    given = {
        each.name: value
        for each in fields(Emergence)
        if (value := number(row.get(f"other_{each.name}", ""))) is not None
    }
    return replace(used, **given) if given else None
