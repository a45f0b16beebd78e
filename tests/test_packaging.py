"""The wheel: what it carries, and that it works alone, from any folder."""

import importlib.metadata
import importlib.util
import os
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from this tree."""
    into = tmp_path_factory.mktemp("wheel")
    # without hatchling at hand, pip fetches it
    isolated = [] if importlib.util.find_spec("hatchling") is None else ["--no-build-isolation"]
    pip = [sys.executable, "-m", "pip", "wheel", "--quiet", "--no-deps", *isolated, "--disable-pip-version-check"]
    done = subprocess.run(
        [*pip, "--wheel-dir", str(into), str(ROOT)], capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stderr
    (built,) = into.glob("*.whl")
    return built


def test_wheel_carries_the_program_and_its_samples(wheel: Path):
    """Every source file, the page's style and script, what the demo reads, and the reference loggers' files."""
    held = set(zipfile.ZipFile(wheel).namelist())
    sources = {
        path.relative_to(ROOT).as_posix()
        for folder in ("benchlog", "dashboards")
        for path in (ROOT / folder).rglob("*")
        if path.suffix in (".py", ".css", ".js", ".html")
    }
    samples = {
        f"benchlog/sample_data/{path.name}"
        for pattern in ("acceptance*", "overnight*", "before*", "fault_slow_drop_out*", "larch.plan.toml")
        for path in (ROOT / "sample_data").glob(pattern)
    }
    loggers = {
        f"benchlog/{path.relative_to(ROOT).as_posix()}" for path in (ROOT / "firmware_notes").rglob("*.logger.toml")
    }

    assert sorted((sources | samples | loggers) - held) == []


def test_wheel_carries_nothing_else(wheel: Path):
    """No tests, notes or caches."""
    held = zipfile.ZipFile(wheel).namelist()

    assert {name.split("/")[0] for name in held} <= {"benchlog", "dashboards", "benchlog-0.1.0.dist-info"}
    assert [name for name in held if "__pycache__" in name or name.endswith((".pyc", ".md"))] == []


def test_installed_wheel_runs_the_demo_from_any_folder(wheel: Path, tmp_path: Path):
    """In an environment of its own the installed program does the whole job, far from the source tree."""
    venv = tmp_path / "venv"
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(venv)], check=True, timeout=120)
    python = venv / "bin" / "python"
    where = "import sysconfig; print(sysconfig.get_path('purelib'))"
    site = Path(subprocess.run([python, "-c", where], capture_output=True, text=True, check=True).stdout.strip())
    # nothing is fetched: the wheel goes into the new environment, what it needs is borrowed from this one
    install = [sys.executable, "-m", "pip", "--disable-pip-version-check", "--python", str(python), "install"]
    subprocess.run([*install, "--quiet", "--no-deps", "--no-index", str(wheel)], check=True, timeout=120)
    (site / "borrowed.pth").write_text(importlib.util.find_spec("polars").origin.rsplit("/", 2)[0])  # type: ignore[union-attr]  # polars is there
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    env = {key: value for key, value in os.environ.items() if not key.startswith(("PYTHON", "VIRTUAL"))}

    done = subprocess.run(
        [venv / "bin" / "benchlog", "demo"],
        cwd=folder,
        env=env,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    from_where = subprocess.run(
        [python, "-c", "import benchlog; print(benchlog.__file__)"],
        cwd=folder,
        env=env,
        capture_output=True,
        text=True,
        check=True,
    )

    assert (done.returncode, done.stderr) == (0, "")
    assert "Verdict for the good install: pass." in done.stdout
    assert len(list(folder.glob("*.html"))) == 2
    assert from_where.stdout.startswith(str(site))


def test_versions_agree():
    """The package, its metadata and the project file state one version."""
    import benchlog

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]

    assert benchlog.__version__ == project["version"] == importlib.metadata.version("benchlog")
