"""HEAD is answered wherever GET is: the same status and headers, without the body (RFC 9110, 9.3.2)."""

from typing import Final

from starlette.types import ASGIApp, Message, Receive, Scope, Send

HEAD: Final = "HEAD"
GET: Final = "GET"


class HeadAsGet:
    """ASGI middleware around the routes, which know of GET alone."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Ask for what GET would be given, and keep the body back."""
        if scope["type"] != "http" or scope["method"] != HEAD:
            await self._app(scope, receive, send)
            return

        async def send_without_body(message: Message) -> None:
            await send({**message, "body": b""} if "body" in message else message)

        asked = {**scope, "method": GET}
        try:
            await self._app(asked, receive, send_without_body)
        finally:
            scope.update({**asked, "method": HEAD})  # which route it was is counted further out
