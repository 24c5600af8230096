"""What the houses of the invented seasons are asked for: crops, trays, months and sizes.

All of it is invented in the manner of a house that raises vegetables, herbs and bedding plants
for fields, tunnels, channels, rafts and sale in a place with mild winters.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["PROFILES", "Profile", "variety_name"]


@dataclass(frozen=True, slots=True)
class Profile:
    """One kind of order.

    Attributes
    ----------
    crop, system : str
        What is wanted, and where it goes.
    containers : tuple of str
        Containers that will do.
    first_day, last_day : int
        Days of the year between which it is wanted.
    weight : float
        How often it is asked for.
    size : float
        Size against the median order.
    repeats : bool
        Whether it is asked for weekly as well.
    """

    crop: str
    system: str
    containers: tuple[str, ...]
    first_day: int
    last_day: int
    weight: float = 1.0
    size: float = 1.0
    repeats: bool = False


_CUBE = ("wool-25",)
_SMALL = ("plug-128", "plug-200")
_FINE = ("plug-200", "plug-288")
_MIDDLE = ("plug-72", "plug-128")
_LARGE = ("plug-50", "plug-72")
_PACK = ("flex-72",)
_POT = ("pot-75",)
_BLOCK = ("wool-block-75",)

PROFILES: tuple[Profile, ...] = (
    Profile("lettuce", "raft", _CUBE, 32, 212, 4, 1.5, repeats=True),
    Profile("lettuce", "field", _FINE, 60, 150, 4, 2.0),
    Profile("lettuce", "bed", _SMALL, 45, 150, 3),
    Profile("lettuce romaine", "channel", _CUBE, 32, 212, 3, repeats=True),
    Profile("lettuce butterhead", "raft", _CUBE, 32, 212, 2, repeats=True),
    Profile("endive", "bed", _SMALL, 75, 130, 1, 0.7),
    Profile("chicory", "field", _SMALL, 80, 180, 1),
    Profile("spinach", "raft", _CUBE, 45, 120, 1, repeats=True),
    Profile("chard", "bed", _SMALL, 70, 170, 2, 0.7),
    Profile("beet", "bed", _SMALL, 60, 130, 1),
    Profile("kale", "field", _SMALL, 60, 200, 3),
    Profile("collards", "field", _SMALL, 60, 200, 1),
    Profile("cabbage", "field", _SMALL, 60, 205, 5, 2.5),
    Profile("red cabbage", "field", _SMALL, 75, 180, 2, 1.5),
    Profile("savoy cabbage", "field", _SMALL, 90, 200, 1),
    Profile("broccoli", "field", _SMALL, 65, 205, 5, 2.5),
    Profile("cauliflower", "field", _SMALL, 75, 205, 3, 2.0),
    Profile("brussels sprouts", "field", _SMALL, 140, 190, 1, 1.5),
    Profile("kohlrabi", "bed", _SMALL, 60, 150, 2),
    Profile("pak choi", "raft", _CUBE, 32, 150, 2, repeats=True),
    Profile("chinese cabbage", "field", _SMALL, 80, 205, 1, 1.5),
    Profile("mustard", "channel", _CUBE, 40, 150, 1, 0.5, repeats=True),
    Profile("arugula", "channel", _CUBE, 40, 150, 1, 0.5, repeats=True),
    Profile("watercress", "raft", _CUBE, 45, 150, 1, 0.5),
    Profile("tomato", "field", _MIDDLE, 115, 160, 5, 2.0),
    Profile("tomato", "bed", _LARGE, 85, 150, 4, 0.8),
    Profile("tomato", "bucket", _BLOCK, 50, 110, 1, 0.4),
    Profile("tomato", "sale", _POT, 110, 150, 2, 0.4),
    Profile("pepper", "field", _MIDDLE, 120, 165, 4, 1.5),
    Profile("pepper", "bed", _MIDDLE, 105, 150, 2, 0.6),
    Profile("eggplant", "bed", _LARGE, 110, 160, 2, 0.5),
    Profile("cucumber", "bed", _MIDDLE, 95, 180, 2, 0.6),
    Profile("melon", "field", _LARGE, 125, 165, 1),
    Profile("watermelon", "field", _LARGE, 125, 165, 1),
    Profile("summer squash", "field", _LARGE, 115, 190, 2, 0.7),
    Profile("winter squash", "field", _LARGE, 125, 165, 1),
    Profile("pumpkin", "field", _LARGE, 135, 170, 1),
    Profile("okra", "field", _LARGE, 135, 165, 1, 0.5),
    Profile("onion", "field", _FINE, 80, 110, 3, 5.0),
    Profile("leek", "field", _FINE, 100, 175, 3, 4.0),
    Profile("scallion", "bed", _FINE, 75, 180, 2),
    Profile("chives", "sale", _PACK, 95, 150, 1, 0.4),
    Profile("parsley", "bed", _SMALL, 85, 170, 2, 0.7),
    Profile("celery", "field", _FINE, 110, 170, 2, 1.5),
    Profile("celeriac", "field", _FINE, 115, 160, 1, 1.5),
    Profile("basil", "channel", _CUBE, 60, 205, 2, 0.5, repeats=True),
    Profile("basil", "sale", _POT, 110, 170, 2, 0.4),
    Profile("cilantro", "channel", _CUBE, 50, 160, 1, 0.5, repeats=True),
    Profile("dill", "channel", _CUBE, 60, 160, 1, 0.4),
    Profile("fennel", "bed", _SMALL, 85, 150, 1),
    Profile("thyme", "sale", _PACK, 105, 150, 1, 0.3),
    Profile("sage", "sale", _PACK, 105, 150, 1, 0.3),
    Profile("oregano", "sale", _PACK, 105, 150, 1, 0.3),
    Profile("marigold", "sale", _PACK, 100, 150, 2),
    Profile("zinnia", "sale", _PACK, 115, 165, 1, 0.7),
    Profile("petunia", "sale", _PACK, 110, 150, 2),
    Profile("snapdragon", "sale", _PACK, 95, 140, 1, 0.8),
    Profile("pansy", "sale", _PACK, 75, 110, 1),
    Profile("calendula", "bed", _MIDDLE, 85, 140, 1, 0.4),
    Profile("sunflower", "field", _LARGE, 115, 180, 1, 0.6),
    Profile("sweet corn", "field", _MIDDLE, 115, 165, 1, 2.0),
)

_FIRST = (
    "Alder",
    "Bracken",
    "Cinder",
    "Dapple",
    "Ebb",
    "Flint",
    "Gorse",
    "Harrow",
    "Ivory",
    "Jolt",
)
_SECOND = ("barrow", "crest", "dell", "fold", "gate", "hatch", "lock", "mere", "pike", "reach")


def variety_name(crop: str, number: int) -> str:
    """Invent the name of a variety.

    Parameters
    ----------
    crop : str
        Crop id.
    number : int
        Which of the crop's varieties.

    Returns
    -------
    name : str
        The same for the same crop and number.
    """
    code = sum((k + 1) * ord(letter) for k, letter in enumerate(crop)) + 37 * number
    return f"{_FIRST[code % 10]}{_SECOND[code // 10 % 10]} {number + 1}"
