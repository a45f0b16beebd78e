"""Importing or using the library changes nothing that belongs to the whole process: it may be a guest in another's."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
SAMPLES = ROOT / "sample_data"

SCRIPT = """
import logging, os, signal, sys, tempfile, threading, warnings
from pathlib import Path
sys.path.insert(0, {root!r})

def standing():
    handlers = {{number: signal.getsignal(number) for number in signal.valid_signals()}}
    return {{
        "environment": dict(os.environ), "filters": list(warnings.filters), "handlers": handlers,
        "hooks": (sys.excepthook, sys.unraisablehook, threading.excepthook, sys.displayhook),
        "folder": os.getcwd(), "path": list(sys.path), "streams": (sys.stdin, sys.stdout, sys.stderr),
        "root logger": (logging.root.level, list(logging.root.handlers)), "switch": sys.getswitchinterval(),
        "affinity": os.sched_getaffinity(0) if hasattr(os, "sched_getaffinity") else None,
    }}

import numpy, pandas, plotly, polars, sqlalchemy, pydantic  # what these do is theirs
before = standing()

def same(after_what):
    now = standing()
    changed = [name for name in before if before[name] != now[name]]
    print(after_what, changed)

import benchlog
same("import")
import pkgutil, importlib, dashboards
for package in (benchlog, dashboards):
    for one in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
        if not one.name.endswith("__main__"):
            importlib.import_module(one.name)
same("every module")
samples, folder = Path({samples!r}), Path(tempfile.mkdtemp())
plan = samples / "larch.plan.toml"
result = benchlog.check(samples / "acceptance.csv", plan=plan)
same("check")
lines = (samples / "acceptance.csv").read_text(encoding="utf-8").splitlines(keepends=True)
for n in range(4):
    (folder / f"ride {{n}}.csv").write_text("".join(lines[:3000 + n]), encoding="utf-8")
    (folder / f"ride {{n}}.logger.toml").write_bytes((samples / "acceptance.logger.toml").read_bytes())
from benchlog.log import discovery
discovery.cores, discovery._START_S = lambda: 2, 0.0
benchlog.check(folder, plan=plan)
same("many logs")
quoted = folder / "quoted.csv"
rows = "".join(f'{{n / 10}},12.6,"a ""b"" c"\\n' for n in range(300)) + '30.1,12.6,an "odd one\\n30.2,12.6,"\\n'
quoted.write_text("time_s,battery_v,mark\\n" + rows, encoding="utf-8")
try:
    benchlog.check(quoted, plan=plan)
except benchlog.BenchlogError:
    pass
same("quotes")
table = folder / "table.parquet"
polars.read_csv(samples / "acceptance.csv").write_parquet(table)
benchlog.check(table, plan=plan, logger=samples / "acceptance.logger.toml")
same("a table")
from benchlog.store import open_store
with open_store(folder / "store" / "records.sqlite") as store:
    store.save(result, plan=plan, logs=[samples / "acceptance.csv"])
    store.recheck(1)
    store.verify()
same("a record")
"""


def test_nothing_of_the_process_is_changed():
    """Environment, warning filters, signal handlers, hooks, streams and the rest stand as before, step by step."""
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT.format(root=str(ROOT), samples=str(SAMPLES))],
        capture_output=True, text=True, check=False, timeout=200,
    )  # fmt: skip

    assert done.stderr == ""
    assert done.stdout.splitlines() == [
        f"{step} []" for step in ("import", "every module", "check", "many logs", "quotes", "a table", "a record")
    ]
