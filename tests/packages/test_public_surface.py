"""The library's public surface: what docs/library.md promises is there and typed; its examples run with the manual."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import hushpoint

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("name", hushpoint.__all__)
def test_every_public_name_loads_and_is_typed(name: str) -> None:
    """A name of the surface comes with a docstring and stands in the stub that type checkers read."""
    assert getattr(hushpoint, name).__doc__
    stub = ast.parse((ROOT / "src" / "hushpoint" / "__init__.pyi").read_text(encoding="utf-8"))
    typed = {one.asname for node in stub.body if isinstance(node, ast.ImportFrom) for one in node.names}
    assert typed == set(hushpoint.__all__)


def test_an_unknown_name_is_refused_as_of_any_module() -> None:
    """Asking for what is not there raises AttributeError, so that hasattr and star imports work as elsewhere."""
    assert not hasattr(hushpoint, "nobody")


def test_the_import_alone_loads_no_room() -> None:
    """`import hushpoint` pulls in neither numpy nor the web: what is needed comes when it is asked for."""
    asked = "import sys, hushpoint; print([one for one in ('numpy', 'starlette', 'soundfile') if one in sys.modules])"
    found = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"


def test_the_version_is_the_same_everywhere() -> None:
    """The package, its metadata and the citation file name one version, and the changelog has a heading for it."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    cited = re.search(r"^version: (.+)$", (ROOT / "CITATION.cff").read_text(encoding="utf-8"), re.MULTILINE)
    assert cited
    assert {hushpoint.__version__, project["version"], cited[1]} == {hushpoint.__version__}
    assert f"\n## {hushpoint.__version__}" in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
