"""The page that explains the API: its scripts are ours, and its policy lets the browser run these and no others."""

import base64
import re
from hashlib import sha256
from typing import Final

from fastapi import FastAPI, Request
from fastapi.openapi.docs import get_swagger_ui_html
from fastapi.responses import HTMLResponse

FILES: Final = "/static-offline-docs"
_INLINE_SCRIPT: Final = re.compile(r"<script>(.*?)</script>", re.DOTALL)


def install_documentation(app: FastAPI) -> None:
    """Serve /docs; the files of it are mounted by the class that the application is made with."""
    app.get("/docs", include_in_schema=False)(show_documentation)


def show_documentation(request: Request) -> HTMLResponse:
    """Show the page.

    No function of an application's own: the framework remembers what it has seen of functions for as long as the
    process lives, and with one that knew its application every application ever made.
    """
    page = get_swagger_ui_html(
        openapi_url="/openapi.json",
        title=f"{request.app.title}: the API",
        swagger_js_url=f"{FILES}/swagger-ui-bundle.js",
        swagger_css_url=f"{FILES}/swagger-ui.css",
        swagger_favicon_url=f"{FILES}/favicon.png",
    )
    page.headers["Content-Security-Policy"] = _policy(bytes(page.body).decode())
    return page


def _policy(page: str) -> str:
    """Allow the page's inline script by its hash (Content Security Policy Level 3, 8.4), and our files."""
    hashes = [
        base64.b64encode(sha256(script.encode()).digest()).decode() for script in _INLINE_SCRIPT.findall(page)
    ]
    allowed = " ".join(f"'sha256-{digest}'" for digest in hashes)
    return (
        f"default-src 'none'; script-src 'self' {allowed}; style-src 'self'; img-src 'self' data:; "
        "connect-src 'self'; font-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
    )
