"""Makes form1.sqlite, form2.sqlite, …: stores as earlier forms left them: two records, one signed, and a change.

    PYTHONPATH=. python tests/store_samples/make_forms.py 2

Each was made by the program of its time and is kept as it is. Should one have to be made again, take that program
from the history, since the bodies of records grow with it; else a store of today, with what later forms added taken
away.
"""

import os
import sqlite3
import sys
import tempfile
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

from store_cases import save_small  # noqa: E402 the path is set above

from benchlog.store import open_store  # noqa: E402 as above

#: The table that each form added.
ADDED = {2: "measured", 3: "withdrawals", 4: "searches"}


def main(form: int) -> None:
    """Write the file of this form beside this one."""
    target = HERE / f"form{form}.sqlite"
    target.unlink(missing_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        os.environ["BENCHLOG_DATA"] = folder
        with open_store(str(Path(folder) / "made.sqlite")) as store:
            save_small(store, Path(folder), keep_logs=False, recorded_at=datetime(2025, 3, 1, tzinfo=UTC))
            save_small(store, Path(folder), keep_logs=False, resting_v=12.7, temperature_c=8.0)
            store.sign(1, "bench two", "seen on the bench")
            store.note_change("Larch", date(2025, 4, 1), "new battery")
        with closing(sqlite3.connect(Path(folder) / "made.sqlite", isolation_level=None)) as made:
            for later, table in ADDED.items():
                if later > form:
                    made.execute(f"DROP TABLE {table}")
            made.execute("DELETE FROM schema_version WHERE number > ?", (form,))
            made.execute("PRAGMA journal_mode = DELETE")
            made.execute("VACUUM INTO ?", (str(target),))
    print(target, target.stat().st_size)


if __name__ == "__main__":
    main(int(sys.argv[1]))
