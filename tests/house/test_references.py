"""A reference check names the published source of its numbers."""

import ast
import re

from tests.house.sources import python_files, tree_of

SOURCE = re.compile(r"\b(1[6-9]|20)\d\d\b|\b(ISO|IEC|EN|DIN|SAE J|ASTM D|RFC) ?\d+|\b\d+ CFR \d+")
"""A year of publication, or the number of a standard or a regulation."""


def test_every_reference_check_names_its_source() -> None:
    files = [
        path for path in python_files("tests") if "reference" in path.parts and path.name.startswith("test_")
    ]
    assert files
    nameless = [str(path) for path in files if not SOURCE.search(ast.get_docstring(tree_of(path)) or "")]
    assert nameless == []
