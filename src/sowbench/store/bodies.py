"""Records kept as JSON in one column: seed lots, standing sowings, pins."""

from __future__ import annotations

from typing import Any, Final

import msgspec

from sowbench.domain.records import Pin, SeedLot, Standing

_LOT: Final = msgspec.json.Decoder(SeedLot)
_STANDING: Final = msgspec.json.Decoder(Standing)
_PIN: Final = msgspec.json.Decoder(Pin)
_ENCODER: Final = msgspec.json.Encoder()


def body_of(record: Any) -> str:
    """Return a record as JSON.

    Parameters
    ----------
    record : object
        A record of the domain.

    Returns
    -------
    body : str
        Its fields by name.
    """
    return _ENCODER.encode(record).decode()


def lot_of(body: str) -> SeedLot:
    """Return the seed lot of a body.

    Parameters
    ----------
    body : str
        JSON of `body_of`.

    Returns
    -------
    lot : SeedLot
        The lot.
    """
    return _LOT.decode(body)


def standing_of(body: str) -> Standing:
    """Return the standing sowing of a body.

    Parameters
    ----------
    body : str
        JSON of `body_of`.

    Returns
    -------
    standing : Standing
        The standing sowing.
    """
    return _STANDING.decode(body)


def pin_of(body: str) -> Pin:
    """Return the pin of a body.

    Parameters
    ----------
    body : str
        JSON of `body_of`.

    Returns
    -------
    pin : Pin
        The pin.
    """
    return _PIN.decode(body)
