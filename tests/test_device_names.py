"""Files that benchlog names itself are files on every system."""

import pytest

from benchlog.core.files import unreserved
from benchlog.plan.kept import plan_file_name
from dashboards.trays import shown_name


@pytest.mark.parametrize(("name", "written"), [("con", "_con"), ("Nul", "_Nul"), ("COM1", "_COM1"), ("cone", "cone")])
def test_no_file_is_named_like_a_device(name: str, written: str):
    """Where Windows has devices of such names, whatever ends them (from memory)."""
    assert unreserved(f"{name}.csv") == f"{written}.csv"
    assert plan_file_name(name) == f"{written.casefold()}.plan.toml"
    assert shown_name(f"C:\\{name}.csv") == f"{written}.csv"
