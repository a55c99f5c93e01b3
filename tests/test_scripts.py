"""The scripts of the pages do what their own tests say (tests/scripts), which Node.js runs."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests import node, servers
from tests.patience import PATIENCE_SECONDS

TESTS = sorted(path.name for path in servers.SCRIPTS.glob("*.test.js"))
FAILED = re.compile(r"^ *not ok \d+ - (.+)$", flags=re.MULTILINE)
PASSED = re.compile(r"^# pass (\d+)$", flags=re.MULTILINE)


@pytest.fixture(scope="module")
def node_path() -> str:
    """Return the Node.js that runs them."""
    problem = servers.scripts_problem()
    if problem is not None:
        servers.refuse_absence("Node.js with the scripts' tools", named=False, why=problem)
        pytest.skip(problem)
    return "node"


@pytest.mark.parametrize("name", TESTS)
def test_the_scripts_pass_their_own_tests(node_path: str, name: str) -> None:
    done = subprocess.run(
        [node_path, "--test", "--test-reporter=tap", name],
        cwd=servers.SCRIPTS,
        capture_output=True,
        text=True,
        timeout=PATIENCE_SECONDS,
        check=False,
    )
    failed = FAILED.findall(done.stdout)
    assert done.returncode == 0, f"failed: {failed}\n{done.stdout}{done.stderr}"
    passed = PASSED.search(done.stdout)
    assert passed
    assert int(passed[1]) > 0


def test_there_are_tests_of_the_scripts() -> None:
    assert {"foresee.test.js", "panel.test.js", "queue.test.js", "send.test.js"} <= set(TESTS)


def test_every_script_is_looked_at() -> None:
    """One in a folder that no project names would be checked by nobody."""
    named = [
        Path(found)
        for project in node.PROJECTS
        for found in re.findall(
            r'"\.\./\.\./([^"]+)"', (servers.SCRIPTS / f"tsconfig.{project}.json").read_text()
        )
    ]
    missing = [
        path
        for path in node.scripts()
        if not any(path.is_relative_to(node.ROOT / place) for place in named)
    ]
    assert missing == []


def test_what_pages_are_said_to_carry_they_carry() -> None:
    declared = (servers.SCRIPTS / "pages.d.ts").read_text().partition("interface DOMStringMap")[2]
    names = re.findall(r"^    (\w+)\?: string;", declared, flags=re.MULTILINE)
    assert len(names) > 40
    pages = "".join(
        path.read_text() for app in node.OURS for path in (node.ROOT / app).rglob("*.html")
    )
    scripts = "".join(path.read_text() for path in node.scripts())
    attributes = {name: "data-" + re.sub("([A-Z])", r"-\1", name).lower() for name in names}
    missing = [
        name
        for name, attribute in attributes.items()
        if not re.search(rf"{attribute}\b|{attribute.replace('-', '_')}=", pages)
        and not re.search(rf'dataset\.{name} = |"{name}"|"{attribute}"', scripts)
    ]
    assert missing == []


@pytest.mark.parametrize("verb", ["install", "check"])
@pytest.mark.parametrize(
    ("required", "code", "words"),
    [
        ("", 0, "Left out: the checks and tests of the scripts; Node.js is not installed."),
        ("1", 1, "The scripts cannot be checked and tested: Node.js is not installed."),
    ],
)
def test_without_node_it_is_said_what_is_left_out(
    verb: str, required: str, code: int, words: str
) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tests.node", verb],
        cwd=node.ROOT,
        env={**os.environ, "PATH": "", "SHUTLINE_REQUIRE_SERVERS": required},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, (done.stdout + done.stderr).strip()) == (code, words)


def test_without_a_network_for_npm_it_is_said_what_is_left_out(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    failing = tmp_path / "npm"
    failing.write_text("#!/bin/sh\necho 'npm error code ENOTFOUND' >&2\nexit 1\n")
    failing.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}:{os.environ['PATH']}")
    monkeypatch.delenv("SHUTLINE_REQUIRE_SERVERS", raising=False)
    monkeypatch.setattr(servers, "node_problem", lambda: None)
    node.install()
    assert "Left out" in (said := capsys.readouterr().out)
    assert "ENOTFOUND" in said
    failing.write_text("#!/bin/sh\necho 'npm error code EUSAGE' >&2\nexit 1\n")
    with pytest.raises(SystemExit, match="EUSAGE"):
        node.install()
