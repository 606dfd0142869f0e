"""What an operator can set or call is written down, and what is written down exists."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from service.settings import Settings
from tests.house.sources import project_files, python_files, text_of, tree_of

DOCUMENTS = text_of(Path("README.md")) + text_of(Path("DEVELOPERS.md"))
NOT_SETTINGS = {"SUMPWISE_REQUIRE_BROWSER", "SUMPWISE_REQUIRE_POSTGRES", "SUMPWISE_REQUIRE_OPERATIONS"}
CLI = Path("service/cli")


def test_every_setting_is_documented_and_no_other() -> None:
    settings = {f"SUMPWISE_{name.upper()}" for name in Settings.model_fields}
    named = set(re.findall(r"`(SUMPWISE_[A-Z_]+)`", DOCUMENTS))
    assert settings - named == set()
    assert named - settings - NOT_SETTINGS == set()


def command_names() -> Iterator[str]:
    """Names of commands: `@app.command("name")`, the function's own, or `app.command("name")(function)`."""
    for path in python_files("service"):
        if path.is_relative_to(CLI) or path == CLI.with_suffix(".py"):
            for node in ast.walk(tree_of(path)):
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Call):
                    yield from _registered(node.func, None)
                if isinstance(node, ast.FunctionDef):
                    yield from (
                        name for decorator in node.decorator_list for name in _registered(decorator, node)
                    )


def _registered(decorator: ast.expr, function: ast.FunctionDef | None) -> list[str]:
    if not (isinstance(decorator, ast.Call) and isinstance(decorator.func, ast.Attribute)):
        return []
    if decorator.func.attr != "command":
        return []
    given = [*decorator.args, *(keyword.value for keyword in decorator.keywords if keyword.arg == "name")]
    names = [argument.value for argument in given if isinstance(argument, ast.Constant)]
    if names:
        return [str(names[0])]
    return [] if function is None else [function.name.replace("_", "-")]


def test_every_command_is_documented() -> None:
    commands = set(command_names())
    assert commands, "the rule looks for something that exists"
    missing = {
        name for name in commands if not re.search(rf"\bsumpwise (?:[\w-]+ )?{re.escape(name)}\b", DOCUMENTS)
    }
    assert missing == set()


def test_production_starts_commands_that_exist() -> None:
    commands = set(command_names())
    started = {
        name
        for path in project_files()
        if path.is_relative_to(Path("deploy")) and path.suffix not in {".py", ".lock", ".example"}
        for name in re.findall(
            r"(?m)^Exec\w+=\S+/sumpwise (\w+)|^    command: \[(\w+)|^CMD \[\"(\w+)", text_of(path)
        )
    }
    assert {word for words in started for word in words if word} - commands == set()
