"""What the tests read out of a PDF."""

import io
from typing import Any

import pypdf


def reader(content: bytes) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(content))


def page_texts(content: bytes) -> list[str]:
    """Each page's text on one line, since typesetting breaks lines anywhere."""
    return [" ".join(page.extract_text().split()) for page in reader(content).pages]


def full_text(content: bytes) -> str:
    return " ".join(page_texts(content))


def structure_roles(content: bytes) -> set[str]:
    """The roles of the tagged structure tree (ISO 32000-1 section 14.8.4)."""
    roles: set[str] = set()

    def walk(node: Any) -> None:
        node = node.get_object()
        if isinstance(node, list):
            for child in node:
                walk(child)
        elif isinstance(node, dict):
            if "/S" in node:
                roles.add(str(node["/S"]))
            if "/K" in node:
                walk(node["/K"])

    root: Any = reader(content).trailer["/Root"]
    walk(root["/StructTreeRoot"]["/K"])
    return roles


def claims_pdf_ua(content: bytes) -> bool:
    """Say whether the metadata carry the identifier of ISO 14289-1 section 5."""
    root: Any = reader(content).trailer["/Root"]
    return b"<pdfuaid:part>1</pdfuaid:part>" in root["/Metadata"].get_object().get_data()
