"""Puts the pages together: routes, templates, static files, and what keeps them safe."""

from __future__ import annotations

import warnings
from collections.abc import Awaitable, Callable, Sequence
from pathlib import Path
from typing import Final

from litestar import Litestar, get
from litestar.config.csrf import CSRFConfig
from litestar.di import Provide
from litestar.exceptions.base_exceptions import LitestarDeprecationWarning
from litestar.middleware import DefineMiddleware
from litestar.plugins.jinja import JinjaTemplateEngine
from litestar.response import Redirect
from litestar.template.config import TemplateConfig

from sowbench.services.desk import Desk
from sowbench.web import assets, errors, formats
from sowbench.web.ahead.offer_routes import routes as offer_routes
from sowbench.web.ahead.routes import routes as ahead_routes
from sowbench.web.back.routes import routes as back_routes
from sowbench.web.begin.routes import routes as begin_routes
from sowbench.web.entries.routes import routes as entries_routes
from sowbench.web.handbook.routes import routes as handbook_routes
from sowbench.web.house.routes import routes as house_routes
from sowbench.web.learned.routes import routes as learned_routes
from sowbench.web.orders.routes import routes as orders_routes
from sowbench.web.plans.routes import routes as plans_routes
from sowbench.web.season.routes import routes as season_routes
from sowbench.web.security import (
    LOOPBACK_HOSTS,
    REQUEST_MOST_BYTES,
    Door,
    csrf_secret,
    token_cookie,
    with_headers,
)
from sowbench.web.seed.routes import routes as seed_routes
from sowbench.web.sowings.routes import routes as sowings_routes
from sowbench.web.today.routes import routes as today_routes
from sowbench.web.working.routes import routes as working_routes

_HERE: Final = Path(__file__).parent


@get("/", include_in_schema=False, sync_to_thread=True)
def front(desk: Desk) -> Redirect:
    """Go to today's work, or to the first steps in an empty book."""
    with desk.book.reading() as unit:
        begun = unit.plans.current() is not None
    return Redirect("/today" if begun else "/begin")


def create_app(desk: Desk, *, hosts: Sequence[str] = (), debug: bool = False) -> Litestar:
    """Make the application of one house book.

    Parameters
    ----------
    desk : Desk
        The open book with what belongs to it.
    hosts : sequence of str, default ()
        Names of this machine by which the book may be asked for, beside those of the loopback.
    debug : bool, default False
        Whether an unexpected error is shown with its trace.

    Returns
    -------
    app : Litestar
        The application, ready to be served.
    """

    async def the_desk() -> Desk:
        return desk

    with warnings.catch_warnings():
        # Handlers name what they take as Litestar 2 infers it; version 3 is shut out by pyproject.
        warnings.simplefilter("ignore", LitestarDeprecationWarning)
        return _wired(desk, the_desk, hosts, debug=debug)


def _wired(
    desk: Desk, the_desk: Callable[[], Awaitable[Desk]], hosts: Sequence[str], *, debug: bool
) -> Litestar:
    """Put the application together."""
    secret = csrf_secret(desk.data)
    return Litestar(
        route_handlers=[
            front,
            *begin_routes,
            *today_routes,
            *ahead_routes,
            *offer_routes,
            *orders_routes,
            *plans_routes,
            *season_routes,
            *back_routes,
            *sowings_routes,
            *seed_routes,
            *house_routes,
            *handbook_routes,
            *learned_routes,
            *entries_routes,
            *working_routes,
            assets.static_file,
        ],
        dependencies={"desk": Provide(the_desk)},
        template_config=TemplateConfig(
            directory=_HERE / "templates",
            engine=JinjaTemplateEngine,
            engine_callback=formats.prepare,
        ),
        csrf_config=CSRFConfig(
            secret=secret,
            cookie_name=token_cookie(secret),
            cookie_httponly=True,
            cookie_samesite="lax",
            exclude="^/static/",
        ),
        middleware=[DefineMiddleware(Door, hosts=(*LOOPBACK_HOSTS, *hosts))],
        exception_handlers=dict(errors.HANDLERS),
        before_send=[with_headers],
        request_max_body_size=REQUEST_MOST_BYTES,
        openapi_config=None,
        logging_config=None,
        debug=debug,
    )
