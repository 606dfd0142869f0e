"""Every English sentence that rules and use cases write, read from the source: what a translator would be given."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import service
from service.domain.duties import DUTY_DEFAULTS
from service.domain.exchange_methods import METHOD_LABELS
from service.domain.fluid_kinds import KIND_LABELS
from service.domain.service_work import STEP_TEXTS
from service.domain.vehicle_classes import CLASS_DEFAULTS

ROOMS = ("domain", "usecases", "store", "web")
SENTENCE = re.compile(r"[A-Z{“0-9].*[.:!?]\Z", re.DOTALL)


def templates() -> set[str]:
    """Sentences with what varies in them as {0}, {1}, and the labels of the trade."""
    labels = {
        "1 round",
        "{0} rounds",
        *KIND_LABELS.values(),
        *METHOD_LABELS.values(),
        *(one.label for one in CLASS_DEFAULTS.values()),
        *(one.label for one in DUTY_DEFAULTS.values()),
        *(one.label for one in STEP_TEXTS.values()),
    }
    root = Path(service.__file__).parent
    paths = [path for room in ROOMS for path in (root / room).rglob("*.py") if path.parent.name != "words"]
    return labels.union(*(_written_in(ast.parse(path.read_text())) for path in paths))


def _written_in(tree: ast.Module) -> set[str]:
    inner = {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in node.values}
    notes = {
        id(node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    }
    texts = (_text(node) for node in ast.walk(tree) if id(node) not in inner | notes)
    return {text for text in texts if text and SENTENCE.match(text) and (" " in text or text.endswith("."))}


def _text(node: ast.AST) -> str | None:
    if isinstance(node, ast.Constant):
        return node.value if isinstance(node.value, str) else None
    if isinstance(node, ast.JoinedStr):
        return "".join(_parts(node))
    return None


def _parts(node: ast.JoinedStr) -> Iterator[str]:
    number = 0
    for part in node.values:
        if isinstance(part, ast.Constant):
            yield str(part.value)
        else:
            yield f"{{{number}}}"
            number += 1
