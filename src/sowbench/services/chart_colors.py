"""Colors of the paper pictures under the names that the style sheet of the pages gives them."""

from __future__ import annotations

from typing import Any, Final

from sowbench.exchange import picture

_NAMES: Final = {
    picture.PAPER: "var(--paper)",
    picture.SHEET: "var(--sheet)",
    picture.INK: "var(--ink)",
    picture.SOFT: "var(--soft)",
    picture.LINE: "var(--line)",
    picture.LEAF: "var(--leaf)",
    picture.SOIL: "var(--soil)",
    picture.ACT: "var(--act)",
    picture.FONT: '"Atkinson Hyperlegible Next Variable", system-ui, sans-serif',
}


def in_page_colors(spec: Any) -> Any:
    """Name the colors of a specification as the pages do, so that light and dark both work.

    Parameters
    ----------
    spec : object
        A Vega-Lite specification, or a part of one.

    Returns
    -------
    spec : object
        The same with names in place of the colors of the paper picture.

    Examples
    --------
    >>> in_page_colors({"mark": {"color": picture.SOIL}})
    {'mark': {'color': 'var(--soil)'}}
    """
    if isinstance(spec, str):
        return _NAMES.get(spec, spec)
    if isinstance(spec, dict):
        # The pages draw with a later version of the library, which reads the same words.
        return {key: in_page_colors(value) for key, value in spec.items() if key != "$schema"}
    if isinstance(spec, list):
        return [in_page_colors(each) for each in spec]
    return spec
