"""The packages as somebody else would install them: an sdist that builds a wheel, the wheel in an empty environment."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PYTHONS = ("3.11", "3.12", "3.13")
pytestmark = pytest.mark.hard


def called(*command: str, cwd: Path) -> str:
    """Run a command away from the source tree and return what it printed; its errors are part of the failure."""
    plain = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
    found = subprocess.run(command, check=False, cwd=cwd, env=plain, capture_output=True, text=True)
    assert found.returncode == 0, found.stderr[-2000:]
    return found.stdout


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the sdist, and the wheel that was built from it."""
    if not shutil.which("git"):
        pytest.skip("git is needed to take the tree as a stranger would get it")
    folder = tmp_path_factory.mktemp("packages")
    source = folder / "source"
    called("git", "clone", "-q", str(ROOT), str(source), cwd=folder)
    called(sys.executable, "-m", "build", "--outdir", str(folder / "dist"), str(source), cwd=folder)
    return folder / "dist"


def test_the_wheel_holds_what_runs_and_nothing_else(built: Path) -> None:
    """Templates, page scripts, sheet layouts, tables, migrations and types are in it; tests are not."""
    names = zipfile.ZipFile(next(built.glob("*.whl"))).namelist()
    assert len(names) == len(set(names))
    for part in ("web/templates/base.html", "web/static/hushpoint.css", "sheet/layouts/house.typ", "py.typed"):
        assert f"hushpoint/{part}" in names
    assert any(name.startswith("hushpoint/ledger/migrations/") for name in names)
    assert any(name.startswith("hushpoint/guideline/data/") for name in names)
    assert not [name for name in names if name.startswith("tests/")]


def test_the_sdist_holds_tests_and_docs(built: Path) -> None:
    """Whoever packages it on can run the checks and build the manual from the sdist alone."""
    with tarfile.open(next(built.glob("*.tar.gz"))) as held:
        names = {name.partition("/")[2] for name in held.getnames()}
    assert {"Makefile", "constraints.txt", "docs/library.md", "tests/conftest.py", "CITATION.cff"} <= names


def test_what_the_container_file_copies_is_enough_to_build(built: Path, tmp_path: Path) -> None:
    """The wheel that it installs is built from those files alone, and holds the manual."""
    source, there = built.parent / "source", tmp_path / "src"
    there.mkdir()
    for line in (source / "deploy" / "Containerfile").read_text().splitlines():
        if line.startswith("COPY "):
            *names, to = line.split()[1:]
            for name in names:
                if (source / name).is_dir():
                    shutil.copytree(source / name, tmp_path / to.strip("/"))
                else:
                    shutil.copy(source / name, tmp_path / to.strip("/"))
    called(sys.executable, "-m", "build", "--wheel", "--outdir", str(tmp_path), str(there), cwd=tmp_path)
    names = zipfile.ZipFile(next(tmp_path.glob("*.whl"))).namelist()
    assert "hushpoint/manual/for-it.md" in names


@pytest.mark.parametrize("version", PYTHONS)
def test_the_wheel_runs_in_an_empty_environment(built: Path, version: str, tmp_path: Path) -> None:
    """Installed alone, the command renders a recording, reads it back, and the library answers."""
    python = real_python(version)
    if python is None:
        pytest.skip(f"Python {version} is not on this machine")
    called(python, "-m", "venv", str(tmp_path / "venv"), cwd=tmp_path)
    bin_dir = tmp_path / "venv" / "bin"
    wheel = str(next(built.glob("*.whl")))
    called(str(bin_dir / "pip"), "install", "-q", "-c", str(ROOT / "constraints.txt"), wheel, cwd=tmp_path)
    hushpoint = str(bin_dir / "hushpoint")
    called(
        hushpoint,
        "render",
        "--systolic",
        "148",
        "--diastolic",
        "92",
        "--seed",
        "7",
        "--out",
        str(tmp_path),
        cwd=tmp_path,
    )
    sound = next(tmp_path.glob("*.wav"))
    read = json.loads(called(hushpoint, "read", str(sound), "--json", cwd=tmp_path))
    assert "systolic" in json.dumps(read)
    said = called(str(bin_dir / "python"), "-c", "import hushpoint; print(hushpoint.cuff_for(36).label)", cwd=tmp_path)
    assert said.strip() == "large adult"


def real_python(version: str) -> str | None:
    """The interpreter of a version by its own path, or None; a shim that leads nowhere counts as none."""
    for place in (
        shutil.which(f"python{version}"),
        *map(str, Path.home().glob(f".pyenv/versions/{version}.*/bin/python")),
    ):
        if place and subprocess.run([place, "-c", ""], check=False, capture_output=True).returncode == 0:
            return place
    return None
