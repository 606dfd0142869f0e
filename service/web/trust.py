"""Is this form ours, sent from our page by the person who is signed in? And keeping what was typed when not."""

import base64
import binascii
import hmac
import json
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Final
from urllib.parse import urlsplit

from fastapi import Request

from service.errors import PermissionDeniedError
from service.web.forms import TOKEN_FIELD, Posted

CARRIED_FOR: Final = timedelta(hours=12)
CARRIED_CHARACTERS: Final = 64_000
"""More than that is a file, and the file is still where it came from."""

FOREIGN_FORM: Final = (
    "This form did not come from a page of this service, or from one that was opened before you signed in. "
    "Nothing was changed. Open the page again and repeat what you did."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """What was typed before signing in again, and which fields held secrets: these have to be typed once more."""

    posted: Posted
    again: tuple[str, ...]


def form_token(secret: str) -> str:
    """Token for the forms of a browser that holds this secret; another site cannot compute it."""
    return hmac.new(secret.encode(), b"form", sha256).hexdigest()


def require_own_origin(request: Request) -> None:
    """Refuse a form that another site sent.

    Raises
    ------
    PermissionDeniedError
        If neither Origin nor Referer says that one of our pages sent it.
    """
    said = request.headers.get("origin") or request.headers.get("referer") or ""
    try:
        host = urlsplit(said).netloc
    except ValueError:
        host = ""
    public = urlsplit(request.app.state.public_url).netloc
    if not host or host not in {request.headers.get("host", ""), public}:
        raise PermissionDeniedError(FOREIGN_FORM)


def require_own_token(posted: Posted, secret: str) -> None:
    """Refuse a form whose token was not made for this browser.

    Raises
    ------
    PermissionDeniedError
        If it is missing or another one.
    """
    given = posted.text(TOKEN_FIELD).encode("utf-8", "surrogatepass")
    if not hmac.compare_digest(given, form_token(secret).encode()):
        raise PermissionDeniedError(FOREIGN_FORM)


def carry(key: bytes, posted: Posted, now: datetime) -> str:
    """Pack what was typed, but no secrets, into a field of the sign-in form; empty if it is too much.

    The field is signed, not encrypted: whoever sees the page can read it.
    """
    again = posted.secret_names
    fields = {name: value for name, value in posted.typed.items() if name not in again}
    content = {"at": int(now.timestamp()), "path": posted.path, "fields": fields, "again": again}
    packed = base64.urlsafe_b64encode(json.dumps(content).encode()).decode()
    if len(packed) > CARRIED_CHARACTERS:
        return ""
    return f"{packed}.{_signature(key, packed)}"


def uncarry(key: bytes, text: str, now: datetime) -> Carried | None:
    """Unpack it again; none if it was not packed here or too long ago."""
    packed, _, signature = text.rpartition(".")
    given = signature.encode("utf-8", "surrogatepass")
    if not packed or not hmac.compare_digest(given, _signature(key, packed).encode()):
        return None
    try:
        content = json.loads(base64.urlsafe_b64decode(packed))
    except (binascii.Error, ValueError):
        return None
    if now.timestamp() - content["at"] > CARRIED_FOR.total_seconds():
        return None
    fields = {str(name): str(value) for name, value in content["fields"].items()}
    again = tuple(str(name) for name in content["again"])
    return Carried(posted=Posted(str(content["path"]), fields), again=again)


def _signature(key: bytes, packed: str) -> str:
    return hmac.new(key, packed.encode("utf-8", "surrogatepass"), sha256).hexdigest()
