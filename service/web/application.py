"""Put the pages into the application."""

import secrets
from typing import Final

from fastapi import APIRouter, FastAPI
from fastapi.staticfiles import StaticFiles

from service.web.drafts import Drafts
from service.web.failures import install_failure_pages
from service.web.pages import (
    accuracy,
    article_change,
    articles,
    compartments,
    days,
    driver,
    driver_links,
    job_sheet,
    machine_pulls,
    machine_values,
    machines,
    own_reading,
    passwords,
    people,
    planning_terms,
    records,
    register,
    returns,
    samples,
    settings,
    sign_in,
    start,
    stock,
    vehicles,
    week,
)
from service.web.rendering import STATIC

ROUTERS: Final[tuple[APIRouter, ...]] = (
    sign_in.router,
    passwords.router,
    week.router,
    own_reading.router,
    job_sheet.router,
    register.router,
    vehicles.router,
    compartments.router,
    samples.router,
    records.router,
    returns.router,
    days.router,
    driver_links.router,
    driver.router,
    articles.router,
    article_change.router,
    stock.router,
    accuracy.router,
    settings.router,
    people.router,
    planning_terms.router,
    machine_pulls.router,
    machine_values.router,
    machines.router,
    start.router,
)


def install_pages(app: FastAPI, secret_key: str = "") -> None:
    """Add the pages to an application whose state has `database`, `clock`, `limiter` and `public_url`.

    `secret_key` signs what is carried through signing in; where many processes serve, all need the same one.
    """
    app.state.signing_key = (secret_key or secrets.token_urlsafe(32)).encode()
    app.state.drafts = Drafts()
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for router in ROUTERS:
        app.include_router(router, include_in_schema=False)
    install_failure_pages(app)
