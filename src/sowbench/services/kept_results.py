"""The last few results of heavy work, shared by the threads that answer pages."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from threading import Lock
from typing import Generic, TypeVar

Key = TypeVar("Key")
Value = TypeVar("Value")


class Kept(Generic[Key, Value]):
    """The last few results.

    Parameters
    ----------
    most : int
        Most results that are kept; the one that was asked for longest ago goes first.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._found: OrderedDict[Key, Value] = OrderedDict()
        self._lock = Lock()

    def get(self, key: Key, make: Callable[[], Value]) -> Value:
        """Return what is kept under a key, made if it is not.

        Parameters
        ----------
        key : Key
            What the result depends on.
        make : callable
            Makes it; two threads that ask at once may both do so.

        Returns
        -------
        value : Value
            The result.
        """
        with self._lock:
            if key in self._found:
                self._found.move_to_end(key)
                return self._found[key]
        value = make()
        with self._lock:
            self._found[key] = value
            while len(self._found) > self._most:
                self._found.popitem(last=False)
        return value
