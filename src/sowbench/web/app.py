"""Puts the pages together: routes, templates, static files, and what keeps them safe."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from litestar import Litestar, Response, get
from litestar.config.csrf import CSRFConfig
from litestar.contrib.jinja import JinjaTemplateEngine
from litestar.di import Provide
from litestar.response import Redirect
from litestar.static_files import create_static_files_router
from litestar.template.config import TemplateConfig

from sowbench.services.desk import Desk
from sowbench.web import errors, formats
from sowbench.web.begin.routes import routes as begin_routes
from sowbench.web.entries.routes import routes as entries_routes
from sowbench.web.handbook.routes import routes as handbook_routes
from sowbench.web.house.routes import routes as house_routes
from sowbench.web.orders.routes import routes as orders_routes
from sowbench.web.plans.routes import routes as plans_routes
from sowbench.web.season.routes import routes as season_routes
from sowbench.web.security import HEADERS, REQUEST_MOST_BYTES, csrf_secret
from sowbench.web.seed.routes import routes as seed_routes
from sowbench.web.sowings.routes import routes as sowings_routes
from sowbench.web.today.routes import routes as today_routes
from sowbench.web.working.routes import routes as working_routes

if TYPE_CHECKING:
    from typing import Any

_HERE: Final = Path(__file__).parent


@get("/", include_in_schema=False, sync_to_thread=True)
def front(desk: Desk) -> Redirect:
    """Go to today's work, or to the first steps in an empty book."""
    with desk.book.reading() as unit:
        begun = unit.plans.current() is not None
    return Redirect("/today" if begun else "/begin")


def create_app(desk: Desk, *, debug: bool = False) -> Litestar:
    """Make the application of one house book.

    Parameters
    ----------
    desk : Desk
        The open book with what belongs to it.
    debug : bool, default False
        Whether an unexpected error is shown with its trace.

    Returns
    -------
    app : Litestar
        The application, ready to be served.
    """

    async def the_desk() -> Desk:
        return desk

    def with_headers(response: Response[Any]) -> Response[Any]:
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        return response

    return Litestar(
        route_handlers=[
            front,
            *begin_routes,
            *today_routes,
            *orders_routes,
            *plans_routes,
            *season_routes,
            *sowings_routes,
            *seed_routes,
            *house_routes,
            *handbook_routes,
            *entries_routes,
            *working_routes,
            create_static_files_router(path="/static", directories=[_HERE / "static"]),
        ],
        dependencies={"desk": Provide(the_desk)},
        template_config=TemplateConfig(
            directory=_HERE / "templates",
            engine=JinjaTemplateEngine,
            engine_callback=formats.prepare,
        ),
        csrf_config=CSRFConfig(secret=csrf_secret(desk.data), cookie_name="sowbench-token"),
        exception_handlers=dict(errors.HANDLERS),
        after_request=with_headers,
        request_max_body_size=REQUEST_MOST_BYTES,
        openapi_config=None,
        debug=debug,
    )
