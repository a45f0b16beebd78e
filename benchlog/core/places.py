"""Where benchlog keeps what it keeps: one folder of the user's, or the one that BENCHLOG_DATA names."""

import os
from pathlib import Path


def data_folder() -> Path:
    """The folder for the store, kept logs and the state of running recordings; it may not exist yet."""
    named = os.environ.get("BENCHLOG_DATA")
    if named:
        return Path(named).expanduser()
    from platformdirs import user_data_path

    return user_data_path("benchlog", appauthor=False)
