"""Names under which documents are handed out, and what their endings say of the content."""

import re
import unicodedata
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final
from urllib.parse import quote

_NOT_PLAIN: Final = re.compile(r"[^A-Za-z0-9]+")
_MAX_LENGTH: Final = 80
_MEDIA_TYPES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "csv": "text/csv; charset=utf-8",
        "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        "pdf": "application/pdf",
        "ics": "text/calendar; charset=utf-8",
    }
)


def attachment_name(*parts: str, suffix: str) -> str:
    """Join the parts into a plain ASCII file name, e.g. due-list-2026-W20.pdf; nothing of a path survives."""
    joined = "-".join(parts)
    ascii_text = unicodedata.normalize("NFKD", joined).encode("ascii", "ignore").decode()
    stem = _NOT_PLAIN.sub("-", ascii_text).strip("-")[:_MAX_LENGTH].rstrip("-")
    return f"{stem or 'document'}.{_NOT_PLAIN.sub('', suffix)}"


def media_type_of(name: str) -> str:
    """Give the media type of a document by the ending of its name, which may stand alone."""
    return _MEDIA_TYPES[name.rpartition(".")[2]]


def content_disposition(name: str) -> str:
    """Return the header value of RFC 6266 for this file name, with the UTF-8 form where ASCII does not do."""
    flat = "".join(c for c in name.replace("/", "_").replace("\\", "_") if c.isprintable())
    plain = flat.encode("ascii", "ignore").decode().replace('"', "").strip() or "document"
    header = f'attachment; filename="{plain}"'
    return (
        header
        if plain == flat
        else f"{header}; filename*=UTF-8''{quote(flat.encode('utf-8', 'replace'), safe='')}"
    )
