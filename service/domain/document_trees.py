"""XML and JSON documents of other programs as one kind of tree, read without trusting them.

No document type, so no entities and nothing that expands; bounded depth and size; names without their prefix and in
lower case, because senders write one standard in several ways. Attributes stand among the children.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final, NoReturn
from xml.parsers import expat

from service.errors import InvalidInputError

MAX_DEPTH: Final = 24
MAX_NODES: Final = 300_000
"""More than a document of ten thousand machines has; counted before anything is built where that is possible."""

_TOO_MUCH: Final = "The document is too large or nested too deep."


@dataclass(slots=True)
class Node:
    """A place in a document: its text, and what is below it by name."""

    text: str = ""
    children: dict[str, list["Node"]] = field(default_factory=dict)

    def all(self, name: str) -> list["Node"]:
        """Everything of a name directly below."""
        return self.children.get(name, [])

    def first(self, *names: str) -> "Node | None":
        """What stands first under one of these names."""
        return next((self.children[name][0] for name in names if self.children.get(name)), None)

    def text_of(self, *names: str) -> str:
        """Text of the first of these names that has one; empty if none has."""
        return next((one.text for name in names for one in self.all(name) if one.text), "")


def read_xml(content: bytes) -> Node:
    """Read an XML document.

    Raises
    ------
    InvalidInputError
        If it is none, declares a document type, or is too large or too deep.
    """
    if content.count(b"<") > 2 * MAX_NODES:
        raise InvalidInputError(_TOO_MUCH)
    reader = _XmlReader()
    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler = reader.begin
    parser.EndElementHandler = reader.end
    parser.CharacterDataHandler = reader.add_text
    parser.StartDoctypeDeclHandler = _refuse_document_type
    try:
        parser.Parse(content, True)
    except (expat.ExpatError, LookupError, ValueError) as error:
        raise InvalidInputError("The body is not a well-formed XML document.") from error
    return reader.top


def read_json(content: bytes) -> Node:
    """Read a JSON document; a list stands for several things of the name that it has.

    Raises
    ------
    InvalidInputError
        If it is none, or is too large or too deep.
    """
    if content.count(b"[") + content.count(b"{") > MAX_NODES:
        raise InvalidInputError(_TOO_MUCH)
    try:
        value = json.loads(content, parse_constant=_refuse_constant, parse_float=str, parse_int=str)
    except (ValueError, RecursionError) as error:
        raise InvalidInputError("The body is not valid JSON in UTF-8.") from error
    return tree_of(value)


def tree_of(value: Any) -> Node:
    """Turn what stood in a JSON document into a tree."""
    n_nodes = 0

    def build(value: Any, depth: int) -> Iterator[Node]:
        nonlocal n_nodes
        n_nodes += 1
        if depth > MAX_DEPTH or n_nodes > MAX_NODES:
            raise InvalidInputError(_TOO_MUCH)
        if isinstance(value, list):
            for one in value:
                yield from build(one, depth + 1)
        elif isinstance(value, dict):
            node = Node()
            for name, inner in value.items():
                node.children.setdefault(_local(name), []).extend(build(inner, depth + 1))
            yield node
        elif value is not None:
            yield Node(str(value).strip())

    found = list(build(value, 0))
    return found[0] if len(found) == 1 and not isinstance(value, list) else Node("", {"": found})


class _XmlReader:
    """Builds the tree while the parser goes through the document."""

    def __init__(self) -> None:
        self.top = Node()
        self._open = [self.top]
        self._n_nodes = 0

    def begin(self, name: str, attributes: dict[str, str]) -> None:
        self._n_nodes += 1 + len(attributes)
        if len(self._open) > MAX_DEPTH or self._n_nodes > MAX_NODES:
            raise InvalidInputError(_TOO_MUCH)
        node = Node(children={_local(key): [Node(text.strip())] for key, text in attributes.items()})
        self._open[-1].children.setdefault(_local(name), []).append(node)
        self._open.append(node)

    def end(self, _name: str) -> None:
        node = self._open.pop()
        node.text = node.text.strip()

    def add_text(self, text: str) -> None:
        self._open[-1].text += text


def _local(name: str) -> str:
    return name.rpartition(":")[2].lower()


def _refuse_document_type(*_facts: Any) -> NoReturn:
    raise InvalidInputError("A document with a document type declaration is not read.")


def _refuse_constant(_name: str) -> NoReturn:
    message = "NaN and infinities are no JSON"
    raise ValueError(message)
