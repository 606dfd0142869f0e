"""Every number that goes into or out of the engine says its unit, in its name or in the nomenclature."""

import ast
import re
from collections.abc import Iterator
from fnmatch import fnmatchcase
from pathlib import Path

from tests.house.sources import python_files, text_of, tree_of

FLOATING = re.compile(r"\bfloat\b|float64|float32|\bFloatArray\b|\bFloats\b")
UNITS_OF_THE_DOORS = {
    "pct",
    "percent",
    "mile",
    "miles",
    "mi",
    "mph",
    "kmh",
    "fahrenheit",
    "gallon",
    "gallons",
    "inch",
}


def words_in(heading: str) -> set[str]:
    """Read the names in the first column of the table below a heading of DEVELOPERS.md."""
    section = text_of(Path("DEVELOPERS.md")).split(f"\n### {heading}\n")[1].split("\n#")[0]
    rows = [line.split("|")[1] for line in section.splitlines() if line.startswith("| `")]
    return {word for row in rows for word in re.findall(r"`([^`]+)`", row)}


def floats_at_the_door(path: Path) -> Iterator[str]:
    """Parameters of public functions and fields of public classes that hold floating-point numbers."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            arguments = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
            named = [(argument.arg, argument.annotation) for argument in arguments]
        elif isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            fields = [statement for statement in node.body if isinstance(statement, ast.AnnAssign)]
            named = [(ast.unparse(field.target), field.annotation) for field in fields]
        else:
            continue
        yield from (name for name, kind in named if kind is not None and FLOATING.search(ast.unparse(kind)))


def test_every_float_of_the_engine_has_a_unit_or_a_definition() -> None:
    units, defined = words_in("Units in names"), words_in("Nomenclature of the engine")
    assert units
    assert defined
    statistics = re.compile(r"_(q\d\d|sd|variance)$")
    unknown = {
        f"{path}: {name}"
        for path in python_files("service")
        if "engine" in path.parts
        for name in floats_at_the_door(path)
        if not (
            units & set(name.split("_"))
            or name.startswith("n_")
            or statistics.search(name)
            or any(fnmatchcase(name, pattern) for pattern in defined)
        )
    }
    assert unknown == set(), (
        "put the unit into the name, or the name into DEVELOPERS.md, Nomenclature of the engine"
    )


def test_every_definition_is_of_a_name_in_the_engine() -> None:
    names = {
        name
        for path in python_files("service")
        if "engine" in path.parts
        for node in ast.walk(tree_of(path))
        for name in (getattr(node, "id", None), getattr(node, "arg", None))
        if name is not None
    }
    defined = words_in("Nomenclature of the engine")
    assert {one for one in defined if not any(fnmatchcase(name, one) for name in names)} == set()


def test_units_of_the_doors_stay_at_the_doors() -> None:
    inside = {
        f"{path}: {name}"
        for path in python_files("service")
        if "engine" in path.parts
        for name in floats_at_the_door(path)
        if UNITS_OF_THE_DOORS & set(name.split("_"))
    }
    assert inside == set()
