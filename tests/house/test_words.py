"""Nothing in the project points at the machine it was made on or at a package host."""

from tests.house.sources import ROOT, project_files

# Written in halves, so that this file passes its own check.
FORBIDDEN = tuple(
    first + second
    for first, second in [
        ("/wo", "rk/"),
        ("/tm", "p/bash"),
        ("/root/", "."),
        ("seed ", "document"),
        ("pypi.", "org"),
        ("pythonhosted.", "org"),
        ("registry.", "npmjs"),
        ("deb.", "debian"),
        ("--index", "-url"),
        ("--extra-index", "-url"),
    ]
)


def test_no_file_names_a_machine_path_or_a_package_host() -> None:
    found = {
        f"{path}: {word}"
        for path in project_files()
        for word in FORBIDDEN
        if word.encode() in (ROOT / path).read_bytes().lower()
    }
    assert found == set()


def test_no_file_name_does_either() -> None:
    assert [
        str(path) for path in project_files() if any(word in str(path).lower() for word in FORBIDDEN)
    ] == []
