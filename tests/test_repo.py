"""The repository keeps its own promises: size, reasons, documents, migrations."""

import re
import subprocess
import tomllib
from pathlib import Path

import pytest
from django.core.management import call_command

from portal.env import OPTIONS

ROOT = Path(__file__).resolve().parent.parent
TOP = {
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "LICENSE",
    "Dockerfile",
    "docker-compose.yml",
    "manage.py",
    "pyproject.toml",
    "uv.lock",
    "portal",
    "cases",
    "rules",
    "templates",
    "tests",
}
HARD_STOP = 400


def tracked(pattern: str = "") -> list[Path]:
    listed = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout.split("\n")
    return [ROOT / name for name in listed if name.endswith(pattern) and name]


SOURCES = [
    path for path in tracked(".py") if "/migrations/" not in str(path) and path.exists()
]


def test_the_top_level_is_what_was_agreed():
    found = {path.relative_to(ROOT).parts[0] for path in tracked()}
    assert {name for name in found if not name.startswith(".")} == TOP


def test_modules_stay_under_the_hard_stop():
    code = [p for p in SOURCES if p.relative_to(ROOT).parts[0] != "tests"]
    assert len(code) > 50
    long = {
        str(p): n for p in code if (n := len(p.read_text().splitlines())) > HARD_STOP
    }
    assert long == {}


def test_every_exception_to_a_rule_gives_its_reason():
    silent = [
        f"{path}:{number}"
        for path in SOURCES
        for number, line in enumerate(path.read_text().splitlines(), 1)
        if re.search(r"#\s*(noqa|type:\s*ignore|pragma)", line)
        and " -- " not in line
        and path.name != "test_repo.py"
    ]
    assert silent == []


def test_every_module_of_the_core_stands_in_the_contract_of_pure_python():
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"][
        "importlinter"
    ]["contracts"]
    pure = next(one for one in contracts if one["id"] == "pure")["source_modules"]
    bridge = {"__init__", "apps", "loader", "models"}
    core = {path.stem for path in (ROOT / "rules").glob("*.py")} - bridge
    assert {f"rules.{name}" for name in core} == {
        name for name in pure if name.startswith("rules.")
    }


def test_nothing_is_left_for_later():
    words = (
        "TO" + "DO",
        "FIX" + "ME",
        "X" + "XX",
        "pytest.mark." + "skip",
        "x" + "fail(",
    )
    found = [
        f"{path}: {word}"
        for path in [*SOURCES, *tracked(".html"), *tracked(".js")]
        for word in words
        if word in path.read_text()
    ]
    assert found == []


def test_every_setting_stands_in_the_readme():
    readme = (ROOT / "README.md").read_text()
    assert [option.name for option in OPTIONS if f"`{option.name}`" not in readme] == []


def test_every_command_stands_in_a_document():
    documents = (ROOT / "README.md").read_text() + (ROOT / "DEVELOPERS.md").read_text()
    commands = [
        path.stem
        for path in tracked(".py")
        if path.parent.name == "commands" and path.stem != "__init__"
    ]
    assert len(commands) > 5
    assert [
        name
        for name in commands
        if f"`{name}" not in documents and f"manage.py {name}" not in documents
    ] == []


def test_the_readme_is_short():
    assert len((ROOT / "README.md").read_text().splitlines()) < 150


@pytest.mark.django_db
def test_no_migration_is_missing():
    call_command("makemigrations", "--check", "--dry-run", verbosity=0)
