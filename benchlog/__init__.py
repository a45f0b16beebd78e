"""benchlog: does an added, switched power install on a motorcycle do what was planned?

import benchlog

result = benchlog.check(["acceptance.csv", "overnight.csv"], plan="larch.plan.toml")
result.verdict        # "pass", "fail" or "not proven"
result.to_frame()     # one row a check, as a pandas DataFrame
"""

__version__ = "0.1.0"

# typing is not imported for this name alone: a program that begins here is soon able to hear Ctrl-C
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from benchlog.core.errors import BenchlogError as BenchlogError
    from benchlog.run import check as check
    from benchlog.verdict.result import Result as Result

__all__ = ["BenchlogError", "Result", "__version__", "check"]


def __getattr__(name: str) -> "Any":
    """Load the heavy parts only when they are asked for, so that ``import benchlog`` stays light."""
    if name == "check":
        from benchlog.run import check

        return check
    if name == "Result":
        from benchlog.verdict.result import Result

        return Result
    if name == "BenchlogError":
        from benchlog.core.errors import BenchlogError

        return BenchlogError
    raise AttributeError(f"module 'benchlog' has no attribute '{name}'")
