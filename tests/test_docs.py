"""The README cannot drift from the program: every command in it exists, and the other way."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from typer.main import get_command
from typer.testing import CliRunner

from phrasefit.cli import COMMANDS, app

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
VOCABULARY = (ROOT / "phrasefit" / "VOCABULARY.md").read_text(encoding="utf-8")
CLI = get_command(app)


def options_of(command: str) -> set[str]:
    """List the long options of a command and its sub-commands."""
    found = CLI.commands[command]
    group = getattr(found, "commands", {})
    return {
        name
        for one in (found, *group.values())
        for parameter in one.params
        for name in parameter.opts
        if name.startswith("--")
    }


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme_and_has_an_example(command: str) -> None:
    """Each command is shown in the README, and its help ends in an example."""
    assert f"phrasefit {command}" in README
    texts = [CLI.commands[command].help or ""]
    texts += [c.help or "" for c in getattr(CLI.commands[command], "commands", {}).values()]
    assert any("Example: phrasefit" in text for text in texts)


def test_every_command_line_of_the_readme_exists() -> None:
    """Commands and options that the README names are there."""
    for command, rest in re.findall(r"phrasefit ([a-z]+)((?: [^`|\n]*)?)", README):
        if command not in COMMANDS:
            continue
        wanted = set(re.findall(r"--[a-z][a-z-]+", rest))
        assert wanted <= options_of(command), (command, wanted - options_of(command))


def test_the_routine_of_the_readme_is_the_supplied_file() -> None:
    """Whoever opens the example finds what the README shows, letter by letter."""
    shown = re.search(r"```toml\n(.*?)```", README, flags=re.DOTALL)[1]
    supplied = ROOT / "phrasefit" / "routines" / "borrowed-teaspoons.toml"

    assert shown == supplied.read_text(encoding="utf-8")


def test_readme_opens_with_the_job() -> None:
    """The first paragraph under the title is one paragraph that names song and routine."""
    first = README.split("\n\n")[1]
    assert "routine" in first and "song" in first and "\n" not in first


def test_continuous_integration_runs_the_readme_command() -> None:
    """The script takes the test command from the README and does not keep a copy."""
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "README.md" in script and "eval" in script
    assert re.search(r"Run the tests:\n\n```sh\n.* && pytest -n logical [^\n]*\n```", README)


def test_every_option_and_json_key_is_in_the_vocabulary() -> None:
    """The vocabulary names every command and option."""
    missing = [c for c in COMMANDS if f"`{c}`" not in VOCABULARY]
    missing += sorted(
        {option for c in COMMANDS for option in options_of(c) if f"`{option}`" not in VOCABULARY}
        - {"--help"}
    )
    assert missing == []


def test_unknown_command_is_a_plain_error() -> None:
    """A slip of the pen gets a line, not a traceback."""
    result = CliRunner().invoke(app, ["fitt"])
    assert result.exit_code == 2
