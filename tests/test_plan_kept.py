"""Plans that are kept in benchlog's own folder: their names, and that none is replaced unseen."""

from pathlib import Path

import pytest

from benchlog.core.errors import BenchlogError
from benchlog.plan import kept
from benchlog.plan.kept import AnotherPlan, digest_of, keep_plan, kept_plan, kept_plans, plan_file_name


@pytest.fixture(autouse=True)
def _folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept, "data_folder", lambda: tmp_path / "data")


@pytest.mark.parametrize(
    ("bike", "name"),
    [
        ("Larch", "larch.plan.toml"),
        (" -.Old / New_2+.", "old-new_2+.plan.toml"),
        ("///", "bike.plan.toml"),
        ("a" * 81, "a" * 80 + ".plan.toml"),
        ("a" * 79, "a" * 79 + ".plan.toml"),
    ],
)
def test_a_bikes_plan_has_one_plain_name(bike: str, name: str):
    """Lower case, a dash for what is strange, 80 letters at most, and never none."""
    assert plan_file_name(bike) == name


def test_a_plan_is_kept_found_and_replaced_only_by_its_digest():
    """The same text again is no replacement; another needs the digest of what lies there."""
    assert kept_plans() == []
    path = keep_plan("Larch", "a = 1\n")
    assert (path.read_text(encoding="utf-8"), path.parent) == ("a = 1\n", kept.plans_folder())
    assert keep_plan("Larch", "a = 1\n") == path
    with pytest.raises(AnotherPlan, match=r"another plan is kept as larch.plan.toml already") as told:
        keep_plan("Larch", "a = 2\n")
    assert (told.value.name, told.value.digest) == (path.name, digest_of("a = 1\n"))
    keep_plan("Larch", "a = 2\n", replacing=told.value.digest)

    assert path.read_text(encoding="utf-8") == "a = 2\n"
    keep_plan("Birch", "b = 1\n")
    assert [plan.name for plan in kept_plans()] == ["birch.plan.toml", "larch.plan.toml"]
    found = kept_plan("larch.plan.toml")
    assert found is not None
    assert found.path == path
    assert found.changed.timestamp() == pytest.approx(path.stat().st_mtime, abs=1e-3)
    assert kept_plan("elm.plan.toml") is None


def test_what_stands_in_the_way_is_told_in_the_systems_words(tmp_path: Path):
    """A file where the folder should be, and a folder where the plan should be."""
    (tmp_path / "data").write_text("", encoding="utf-8")
    with pytest.raises(BenchlogError, match=r"folder for plans cannot be made \(not a directory\)"):
        keep_plan("Larch", "a = 1\n")
    (tmp_path / "data").unlink()
    (kept.plans_folder() / "larch.plan.toml").mkdir(parents=True)
    with pytest.raises(BenchlogError, match=r"the plan that is kept cannot be read \(is a directory\)"):
        keep_plan("Larch", "a = 1\n")
