"""Addresses of the house pages."""

from __future__ import annotations

from litestar.types import ControllerRouterHandler

routes: list[ControllerRouterHandler] = []
