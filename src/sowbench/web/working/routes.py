"""Addresses of the working pages."""

from __future__ import annotations

from litestar.types import ControllerRouterHandler

routes: list[ControllerRouterHandler] = []
