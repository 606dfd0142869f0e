"""Rendering of answers: entity tags, locations, pages, files."""

import base64
import binascii
import json
from collections.abc import Callable, Mapping, Sequence
from hashlib import sha256
from typing import Any, Literal, Protocol, TypeVar
from urllib.parse import quote, urlencode

from fastapi import Request, Response
from pydantic import BaseModel

from service.documents.file_names import content_disposition, media_type_of
from service.domain.external_ids import MAX_NUMBER
from service.errors import InvalidInputError


def entity_tag(content: bytes) -> str:
    """Strong entity tag of a representation."""
    return f'"{sha256(content).hexdigest()[:32]}"'


def is_fresh(request: Request, tag: str) -> bool:
    """Whether the client holds this representation already (RFC 9110, 13.1.2)."""
    header = request.headers.get("if-none-match", "")
    held = {candidate.strip().removeprefix("W/") for candidate in header.split(",")}
    return "*" in held or tag in held


def show(
    request: Request,
    content: BaseModel | bytes,
    media_type: str = "application/json",
    headers: Mapping[str, str] | None = None,
    tag: str | None = None,
) -> Response:
    """Answer a read with the content, or with 304 if the client has it; the tag is the content's unless given."""
    body = content if isinstance(content, bytes) else content.model_dump_json().encode()
    tag = entity_tag(body) if tag is None else tag
    all_headers = {"ETag": tag, "Cache-Control": "private, no-cache", **(headers or {})}
    if is_fresh(request, tag):
        return Response(status_code=304, headers=all_headers)
    return Response(body, media_type=media_type, headers=all_headers)


def show_tagged(request: Request, tag: str | None, make: Callable[[], BaseModel]) -> Response:
    """Answer with 304 if the client has what a tag that was known beforehand stands for, without making it."""
    if tag is not None and is_fresh(request, f'"{tag}"'):
        headers = {"ETag": f'"{tag}"', "Cache-Control": "private, no-cache"}
        return Response(status_code=304, headers=headers)
    return show(request, make(), tag=None if tag is None else f'"{tag}"')


def show_file(request: Request, content: bytes, name: str) -> Response:
    """Hand a document out under its name, or answer with 304 if the client has it."""
    return show(request, content, media_type_of(name), {"Content-Disposition": content_disposition(name)})


def describe_file(description: str, *endings: str) -> dict[int | str, dict[str, Any]]:
    """Say in the API's document which forms a document is handed out in."""
    content: dict[str, Any] = {media_type_of(ending).partition(";")[0]: {} for ending in endings}
    return {200: {"description": description, "content": content}}


class _Row(Protocol):
    @property
    def id(self) -> int | None: ...


Row = TypeVar("Row", bound=_Row)


def page_of(
    request: Request, rows: Sequence[Row], limit: int, towards: Literal["after", "before"] = "after"
) -> tuple[Sequence[Row], dict[str, str]]:
    """Rows of a page, and the headers that lead to the next: one row more than `limit` says that there is one."""
    shown = rows[:limit]
    position: dict[str, Any] | None = {towards: shown[-1].id} if len(rows) > limit else None
    return shown, _next_link(request, position)


def encode_cursor(position: Mapping[str, Any]) -> str:
    """Opaque text for a place in a list."""
    return base64.urlsafe_b64encode(json.dumps(position, separators=(",", ":")).encode()).decode().rstrip("=")


def number_in(cursor: str | None, name: str, largest: int = MAX_NUMBER) -> int | None:
    """Key that a cursor carries, none at the beginning.

    Raises
    ------
    InvalidInputError
        If the text is none of ours, or another list's.
    """
    if cursor is None:
        return None
    try:
        position = json.loads(base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)))
    except (binascii.Error, ValueError):
        position = None
    number = position.get(name) if isinstance(position, dict) and len(position) == 1 else None
    if type(number) is not int or not 0 <= number <= largest:
        raise InvalidInputError.at("query/cursor", "Take the cursor from a Link header as it is.")
    return number


def address_of(request: Request) -> str:
    """Path of a call as it stands in addresses: what came decoded is encoded again."""
    return quote(request.scope["path"], errors="replace")


def _next_link(request: Request, position: Mapping[str, Any] | None) -> dict[str, str]:
    """Link header (RFC 8288) to the next page, nothing on the last one."""
    if position is None:
        return {}
    asked = [(name, value) for name, value in request.query_params.multi_items() if name != "cursor"]
    query = urlencode([*asked, ("cursor", encode_cursor(position))])
    return {"Link": f'<{address_of(request)}?{query}>; rel="next"'}
