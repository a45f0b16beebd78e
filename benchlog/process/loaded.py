"""joblib, loaded so that the caller's environment stays as it is: it sets a variable there as it is imported."""

import os

_SET = "KMP_INIT_AT_FORK"  # for processes that are forked, which none here is

_before = os.environ.get(_SET)
from joblib import Parallel, delayed  # noqa: E402
from joblib.externals.loky import ProcessPoolExecutor  # noqa: E402
from joblib.externals.loky.process_executor import BrokenProcessPool, ShutdownExecutorError  # noqa: E402
from joblib.parallel import ParallelBackendBase  # noqa: E402

if _before is None:
    os.environ.pop(_SET, None)

__all__ = [
    "BrokenProcessPool",
    "Parallel",
    "ParallelBackendBase",
    "ProcessPoolExecutor",
    "ShutdownExecutorError",
    "delayed",
]
