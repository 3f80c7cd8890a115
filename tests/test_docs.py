"""What the documents say, the code has; what the code has, the documents say."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from typer.testing import CliRunner

import groupscan
from groupscan.sheets.catalogue import load_catalogue, read_sheet_file

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = (ROOT / "docs" / "COMMANDS.md").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
DOCUMENTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", ROOT / "CHANGELOG.md"]
DOCUMENTS += sorted((ROOT / "docs").glob("*.md"))

OPTION = re.compile(r"(?<![\w-])--[a-z][a-z-]*[a-z]")
EVERYWHERE = {"--help", "--install-completion", "--show-completion"}


def help_of(*command: str) -> str:
    from groupscan.cli import app

    result = CliRunner().invoke(
        app, [*command, "--help"], env={"COLUMNS": "240", "TERM": "dumb", "NO_COLOR": "1"}
    )
    assert result.exit_code == 0, result.output
    return result.stdout


def commands() -> list[str]:
    """Every command, those of applications within the application by both names."""
    from groupscan.cli import app

    apps = {"": app} | {
        f"{one.typer_instance.info.name} ": one.typer_instance for one in app.registered_groups
    }
    return [
        prefix + (command.name or command.callback.__name__.replace("_", "-"))
        for prefix, one in apps.items()
        for command in one.registered_commands
    ]


def section(title: str) -> str:
    found = re.search(rf"^## {title}\n(.*?)(?=^## |\Z)", README, re.DOTALL | re.MULTILINE)
    assert found, f"README.md has no section {title!r}"
    return found[1]


def test_every_command_and_option_is_described():
    text = section("Command line") + COMMANDS
    missing = [name for name in commands() if f"`groupscan {name}" not in text]
    for name in commands():
        options = set(OPTION.findall(help_of(*name.split()))) - EVERYWHERE
        missing += [f"{name} {option}" for option in options if f"`{option}" not in text]
    assert not missing


def test_no_command_or_option_is_described_that_is_not_there():
    text = section("Command line") + COMMANDS
    known = set().union(*(OPTION.findall(help_of(*name.split())) for name in commands()))
    assert set(re.findall(r"`(--[a-z-]+)", text)) <= known
    assert set(re.findall(r"`groupscan ([a-z]+)", text)) <= {name.split()[0] for name in commands()}


def test_every_sheet_is_in_the_readme():
    assert [name for name in load_catalogue() if f"`{name}`" not in README] == []


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: path.name)
def test_links_and_named_paths_exist(document):
    text = document.read_text(encoding="utf-8")
    links = [link.split("#")[0] for link in re.findall(r"\]\(([^)\s]+)\)", text)]
    missing = [
        link
        for link in links
        if link and "://" not in link and not (document.parent / link).exists()
    ]
    named = re.findall(
        r"`((?:groupscan|benchmarks|sample_targets|docs|tests|\.ci)/[\w./-]*)`", text
    )
    missing += [path for path in named if not (ROOT / path).exists()]
    assert missing == []


@pytest.mark.parametrize("name", ["main", "tests"])
def test_the_readme_commands_can_be_read_by_the_checks(name):
    printed = subprocess.run(
        [sys.executable, ROOT / ".ci" / "readme_command.py", name],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    # Each must do all the set-up by itself, and as one command: no line without its "&&".
    lines = printed.strip().splitlines()
    assert "venv" in lines[0]
    assert all(line.endswith("&&") for line in lines[:-1])
    assert not lines[-1].endswith("&&")


def tracked_text() -> dict[str, str]:
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    texts = {}
    for name in filter(None, listed.stdout.split("\0")):
        data = (ROOT / name).read_bytes() if (ROOT / name).is_file() else b""
        if b"\0" not in data:
            texts[name] = data.decode("utf-8", errors="replace")
    return texts


def test_no_path_of_a_machine_is_in_a_tracked_file():
    path = re.compile(r"(?<![\w.:/$}-])/(?:work|farm|tmp|root|home|Users)/\w")
    found = [
        f"{name}: {match[0]}"
        for name, text in tracked_text().items()
        for match in path.finditer(text)
    ]
    assert found == []


def name_of(requirement: str) -> str:
    return re.sub(r"[-_.]+", "-", re.split(r"[<>=!~;\[ ]", requirement, maxsplit=1)[0]).lower()


def test_every_dependency_is_pinned_and_no_index_is_named():
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if not re.match(r"[a-z0-9-]+==[\w.]+( ; .+)?$", line)] == []
    pinned = {name_of(line) for line in lines}
    groups = PROJECT["dependency-groups"].values()
    wanted = PROJECT["project"]["dependencies"] + [
        requirement for group in groups for requirement in group if isinstance(requirement, str)
    ]
    assert [text for text in wanted if name_of(text) not in pinned] == []


def test_the_version_is_the_same_wherever_it_stands():
    assert groupscan.__version__ == PROJECT["project"]["version"]


def test_the_own_sheet_of_the_guide_is_read_as_it_stands(tmp_path: Path) -> None:
    guide = (ROOT / "docs" / "OWN_SHEETS.md").read_text(encoding="utf-8")
    (example,) = re.findall(r"^```toml\n(.*?)^```", guide, flags=re.MULTILINE | re.DOTALL)
    file = tmp_path / "two-spots.toml"
    file.write_text(example, encoding="utf-8")
    sheet = read_sheet_file(file)
    assert (sheet.id, sheet.width_mm, len(sheet.aims_mm)) == ("two-spots", 300, 2)
