"""The card of a sowing in short: what the hands do on the day, with what counts in bold."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from sowbench.services.cards import Card, CardStep


@dataclass(frozen=True, slots=True)
class Part:
    """A stretch of words, in bold where it must not be got wrong."""

    words: str
    bold: bool = False


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture of a job that can be read without words.

    Attributes
    ----------
    name : str
        Name of the drawing.
    label : str
        What it says, for those who hear the page.
    text : str
        A number beside it; blank if there is none.
    """

    name: str
    label: str
    text: str = ""


Line = tuple[Part, ...]
"""One line of a short card."""

# What begins a step of the card, in the order of the card. The first clause is shown, and in it
# what is between the bars in bold; a step that begins with none of these waits in the whole card.
_SHORT: Final[tuple[tuple[str, str], ...]] = (
    (r"This house raises plants with a class: (?P<b>use an untreated lot)", "{b}"),
    (r"(?P<a>Set the insert flat in its carrier)", "{a}"),
    (r"(?P<a>Soak the sheet in )(?P<b>plain water|water brought to about pH [\d. to]+\d)",
     "{a}|{b}|, drain"),
    (r"Rinse the foam through", "Rinse the foam, |soak| and drain"),
    (r"Set the dry pellets apart", "|Soak| the pellets until they stand, open the net"),
    (r"Water the plugs through", "|Wet| the paper plugs through, drain"),
    (r"Knock the tray", "Fill, |firm lightly|, wet in, drain"),
    (r"Make a hole (?P<b>.+?) deep", "Hole |{b}| deep"),
    (r"Press only a shallow dent .*?, (?P<b>.+? at most)", "Shallow dent, |{b}|"),
    (r"Use the hole in the top of the cube, (?P<b>.+?) deep", "In its hole, |{b}| deep"),
    (r"Use the hole in the top of the cube", "In its hole, |not pushed in|"),
    (r"Make no hole", "|No hole|: on the surface"),
    (r"Place (?P<b>\S+ seeds?) of pelleted seed", "|{b}, pelleted|, a cell; do not bury"),
    (r"Place (?P<b>\S+ seeds?) in each cell, (?P<c>[^;.]+)", "|{b}| a cell, {c}"),
    (r"Sow primed seed now", "|Primed|: leave none over"),
    (r"Keep the dust of the treated seed off", "|Treated seed|: keep its dust off skin"),
    (r"Cover the seed wholly, (?P<b>[^,]+)", "Cover |{b}|: it wants dark"),
    (r"Dust it over so thinly", "Dust over |so that seed still shows|"),
    (r"Cover with (?P<b>.+?) of (?P<c>[^(.]+)", "Cover |{b}| with {c}"),
    (r"Draw a little damp vermiculite over the hole", "|Shade the hole| with damp vermiculite"),
    (r"Leave the seed open, or dust it over", "|Leave open|, or dust over; press on"),
    (r"Leave the seed open", "|Leave open|, press on"),
    (r"Into the chamber at (?P<b>[\d.]+ °C)", "Finest mist, then |into the chamber, {b}|"),
    (r"On the mat, the mix at (?P<b>[\d.]+ °C)", "Finest mist, then |on the mat, {b}|, covered"),
    (r"Under mist, the mix at (?P<b>[\d.]+ °C)", "Finest mist, then |under mist, {b}|"),
    (r"On the lamp shelf, the mix at (?P<b>[\d.]+ °C)",
     "Finest mist, then |lamp shelf, {b}|, covered"),
    (r"On the windowsill, the mix at (?P<b>[\d.]+ °C)",
     "Finest mist, then |windowsill, {b}|, under a clear cover"),
    (r"On the bench, the mix at (?P<b>[\d.]+ °C)",
     "Finest mist, then |on the bench, {b}|, evenly moist"),
    (r"In the yard, the mix at (?P<b>[\d.]+ °C)", "Finest mist, then |the yard, {b}|, shaded"),
    (r"A cold store is no place to germinate", "|Too cold to germinate here|: choose another"),
    (r"In the healing room, the mix at (?P<b>[\d.]+ °C)",
     "Finest mist, then |the healing room, {b}|, covered"),
    (r"Give it light in the chamber", "|Lamp on| from the first day"),
    (r"Look from (?P<b>\d+ h) after sowing", "Look |after {b}|, out at the first roots"),
    (r"Out of the chamber after (?P<b>[\d to]+ h)",
     "|Out of the chamber after {b}|, never past 48 h"),
)  # fmt: skip
_RULES: Final = tuple((re.compile(begins), shown) for begins, shown in _SHORT)


def short_card(card: Card) -> tuple[Line, ...]:
    """Shorten a card to what the hands do on the day.

    Parameters
    ----------
    card : Card
        The whole card.

    Returns
    -------
    lines : tuple of Line
        In the order of the card.
    """
    lines = (_short(each.words) for each in card.steps)
    return tuple(dict.fromkeys(each for each in lines if each))


def _short(words: str) -> Line:
    """Shorten one step; blank if it waits in the whole card."""
    for begins, shown in _RULES:
        found = begins.match(words)
        if found:
            groups = {name: value.strip() for name, value in found.groupdict().items()}
            if "a" in groups:
                groups["a"] += " " if shown.startswith("{a}|") else ""
            return marked(shown.format(**groups))
    return ()


def marked(text: str) -> Line:
    """Read words with what is bold between bars.

    Parameters
    ----------
    text : str
        As "Hole |6 mm| deep".

    Returns
    -------
    line : Line
        Its parts.
    """
    parts = text.split("|")
    return tuple(Part(each, bold=at % 2 == 1) for at, each in enumerate(parts) if each)


# The cautions of the reference in short; the whole card has all of their words.
_CARE: Final[tuple[tuple[str, str], ...]] = (
    ("Mineral fiber itches", "Mineral fiber: gloves, long sleeves, eye protection; wet to cut"),
    ("Acid goes into water", "Acid into water, never the other way: goggles, gloves, apron"),
    ("Damp the mix before", "Dust: damp the mix first; a mask with dry peat or perlite"),
    ("Buy vermiculite declared", "Vermiculite free of asbestos; damp it in the bag"),
    ("Keep foam crumbs", "Foam crumbs: not into eyes, pumps or drains"),
    ("Treated seed carries", "Treated seed: gloves, wash your hands, never food or feed"),
    ("Lamps near water", "Lamp near water: dry hands, ground-fault breaker"),
    ("A heating mat near water", "Mat near water: ground-fault breaker, probe in the mix"),
    ("Use a disinfectant", "Disinfectant as its label says, never two mixed; rinse"),
)


def cautions(steps: Iterable[CardStep]) -> tuple[str, ...]:
    """Gather the cautions of a card in short, each once.

    Parameters
    ----------
    steps : iterable of CardStep
        Steps of a card.

    Returns
    -------
    cautions : tuple of str
        In the order of the steps; one that has no short form keeps its first clause.
    """
    found: dict[str, None] = {}
    for caution in (each.caution for each in steps if each.caution):
        short = [care for begins, care in _CARE if begins in caution]
        found |= dict.fromkeys(short or [re.split(r"[;.](?:\s|$)", caution)[0]])
    return tuple(found)


_COVERED: Final = re.compile(r"Cover |Dust it over|Draw a little damp vermiculite")
_OPEN: Final = re.compile(r"Leave the seed open")
_LIT: Final = re.compile(r"Give it light in the chamber|On the lamp shelf")


def card_pictures(card: Card) -> tuple[Picture, ...]:
    """Draw what the card says of cover and light.

    Parameters
    ----------
    card : Card
        The whole card.

    Returns
    -------
    pictures : tuple of Picture
        Cover or open, then the lamp where there is one.
    """
    words = [each.words for each in card.steps]
    drawn = []
    if any(_COVERED.match(each) for each in words):
        drawn.append(Picture("cover", "cover the seed"))
    elif any(_OPEN.match(each) for each in words):
        drawn.append(Picture("open", "leave the seed open"))
    if any(_LIT.match(each) for each in words):
        drawn.append(Picture("light", "lamp on"))
    return tuple(drawn)
