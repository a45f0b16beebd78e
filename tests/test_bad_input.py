"""Input that cannot be used: one plain message that names the file, the fault and the remedy, and status 2."""

import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import Samples, without_override
from test_cli import command
from typer.testing import CliRunner

from benchlog.cli import app
from benchlog.standin import SimulatedInstall, plan_toml_of

LEAST_PLAN = '[install]\nbike = "Larch"\n[battery]\nchemistry = "agm"\ncapacity_ah = 11.2\n'
LEAST_LOGGER = '[logger]\nname = "mine"\n[time]\ncolumn = "t"\nunit = "s"\n'


def rows(count: int, header: str = "time_s,battery_v,battery_a") -> str:
    """A small good log of 10 ms steps."""
    return header + "\n" + "".join(f"{n / 100:.2f},{12.5 - n % 7 / 100:.2f},{n % 11 / 10:.1f}\n" for n in range(count))


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    """A plan that can be used."""
    path = tmp_path / "plan.toml"
    path.write_text(plan_toml_of(SimulatedInstall()), encoding="utf-8")
    return path


def refused(*words: str | Path) -> str:
    """What benchlog says of input that it refuses; checks that it says it once, and only where it should."""
    done = CliRunner().invoke(app, [str(word) for word in words])

    assert isinstance(done.exception, SystemExit)
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr.count("benchlog: ") == 1
    assert done.stderr.startswith("benchlog: ")
    assert "pydantic" not in done.stderr
    assert "polars" not in done.stderr
    return done.stderr


# ---- logs

Content = str | bytes
BAD_LOGS: dict[str, tuple[Content, list[str]]] = {
    "empty": ("", ["log.csv", "the file is empty", "record a log first"]),
    "only blank lines": ("\n\n\n", ["log.csv", "no line of numbers was found"]),
    "header alone": ("time_s,battery_v\n", ["log.csv", "there is a header line but no sample below it"]),
    "one sample": ("time_s,battery_v\n0,12.5\n", ["log.csv", "only one sample", "record a longer log"]),
    "no role": (rows(50, "alpha,beta,gamma"), ["log.csv", "'alpha'", "role names", "battery_v"]),
    "time alone": ("time_s\n0\n1\n2\n", ["log.csv", "no column other than the time is known", "battery_v"]),
    "no table": ("no log\n", ["log.csv", "this does not look like a log", "begins with 'no log'", "one sample a line"]),
    "unknown unit": (rows(50, "time_s,battery_v [mHz],battery_a"), ["log.csv", "header line", "mHz"]),
    "unit of another role": (rows(50, "time_s,battery_v [A],battery_a"), ["log.csv", "A does not suit battery_v"]),
    "one role twice": (rows(50, "time_s,battery_v,battery_v"), ["log.csv", "battery_v"]),
    "times that do not rise": (
        "time_s,battery_v\n" + "".join(f"{n % 7},{12.5}\n" for n in range(200)),
        ["log.csv", "more than 1 %", "the first is line 9"],
    ),
    "two in a hundred unreadable": (
        "time_s,battery_v\n" + "".join(f"{n},{'x?' if n % 50 == 7 else 12.5}\n" for n in range(300)),
        ["log.csv", "6 of 300 rows cannot be used, more than 1 %", "the first is line 9", "x?"],
    ),
    "prose": ("Dear diary,\ntoday the bike ran well.\nIt rained.\n", ["log.csv"]),
    "binary": (bytes(range(256)) * 40, ["log.csv"]),
    "null bytes": (b"\0" * 5000, ["log.csv"]),
    "picture": (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 9, ["log.csv", "neither text nor any other known log"]),
    "cut gzip": (b"\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\x03\x4b\x4c", ["log.csv", "damaged or cut short"]),
    "cut Parquet": (b"PAR1" + b"\x15\x04" * 40, ["log.csv", "the Parquet file is damaged or cut short"]),
}


@pytest.mark.parametrize("name", BAD_LOGS)
def test_bad_log_is_refused(tmp_path: Path, plan: Path, name: str):
    """Each says which file, what was found in it, and what to do."""
    content, said = BAD_LOGS[name]
    log = tmp_path / "log.csv"
    log.write_bytes(content.encode() if isinstance(content, str) else content)

    message = refused("check", log, "--plan", plan)

    assert [part for part in said if part not in message] == []


def test_missing_log_is_refused(tmp_path: Path, plan: Path):
    """A log that is not there."""
    assert "none.csv: there is no such file" in refused("check", tmp_path / "none.csv", "--plan", plan)


def test_folder_is_no_log(tmp_path: Path, plan: Path):
    """A folder given as a log."""
    assert "there is no log in this folder; name a log file" in refused("check", tmp_path, "--plan", plan)


def test_bad_log_among_good_ones_is_named(tmp_path: Path, samples: Samples):
    """Of several logs the one that cannot be used is named, and nothing is judged."""
    bad = tmp_path / "bad.csv"
    bad.write_text("", encoding="utf-8")

    assert "bad.csv: the file is empty" in refused("check", samples.log, bad, "--plan", samples.plan)


def test_bad_log_from_before_is_named(tmp_path: Path, samples: Samples):
    """The same for the log from before the install."""
    bad = tmp_path / "before.csv"
    bad.write_text("", encoding="utf-8")

    message = refused("check", samples.log, "--plan", samples.plan, "--before", bad)

    assert "before.csv: the file is empty" in message


def test_log_of_another_installs_channels(tmp_path: Path, plan: Path):
    """A logger file whose columns the log lacks: both lists are shown."""
    log = tmp_path / "log.csv"
    log.write_text(rows(50, "time_s,U1,I1"), encoding="utf-8")
    (tmp_path / "log.logger.toml").write_text(
        LEAST_LOGGER.replace('"t"', '"time_s"')
        + '[[channel]]\ncolumn = "U_batt"\nrole = "battery_v"\nunit = "V"\n'
        + '[[channel]]\ncolumn = "I_batt"\nrole = "battery_a"\nunit = "A"\n',
        encoding="utf-8",
    )

    message = refused("check", log, "--plan", plan)

    assert "names columns that the log lacks: 'U_batt', 'I_batt'" in message
    assert "the log has 'time_s', 'U1', 'I1'" in message


def test_reversed_shunt_is_refused(tmp_path: Path):
    """A current channel with the wrong sign ends with status 2 and says how to turn it."""
    import scenarios

    log, plan = scenarios.write_files(scenarios.reversed_shunt(), tmp_path)

    assert "turn `positive` of battery_a" in refused("check", log, "--plan", plan)


# ---- plans

BAD_PLANS: dict[str, tuple[Content, list[str]]] = {
    "empty": ("", ["plan.toml", "install: missing", "battery: missing"]),
    "no TOML": ("[install\nbike = Larch\n", ["plan.toml", "line 1", "not valid TOML"]),
    "not UTF-8": (b'[install]\nbike = "L\xe4rche"\n', ["plan.toml", "line 2", "is not UTF-8 text"]),
    "binary": (b"\0\1\2\3" * 99, ["plan.toml"]),
    "unknown key": (LEAST_PLAN + "[relay]\npull_in_max = 30\n", ["relay.pull_in_max", "did you mean pull_in_max_ms"]),
    "unknown wire": (LEAST_PLAN + '[feed]\nconductor = "4 bananas"\n', ["feed.conductor", "4 bananas"]),
    "many faults": (
        LEAST_PLAN.replace('"agm"', '"agn"').replace("11.2", "-3")
        + '[relay]\npull_in_max_ms = "fast"\n[[circuit]]\nslot = 1\ndevice = "lamp"\nplanned_a = 1\nfuse_a = -5\n'
        + '[[circuit]]\nslot = 1\ndevice = "horn"\nplanned_a = nan\n[limits]\nfeed_in_crank = "maybe"\n',
        [
            "battery.chemistry",
            "did you mean agm",
            "battery.capacity_ah: must be > 0, got -3",
            "relay.pull_in_max_ms",
            "circuit[1].fuse_a: must be > 0, got -5",
            "circuit[2].planned_a",
            "limits.feed_in_crank: must be one of hold, drop, any",
        ],
    ),
    "one slot twice": (
        LEAST_PLAN + '[[circuit]]\nslot = 1\ndevice = "lamp"\nplanned_a = 1\n' * 2,
        ["circuit[2].slot: slot 1 is already taken"],
    ),
}


@pytest.mark.parametrize("first_word", ["plan", "check"])
@pytest.mark.parametrize("name", BAD_PLANS)
def test_bad_plan_is_refused(tmp_path: Path, samples: Samples, name: str, first_word: str):
    """All faults of a plan are listed at once, each with its path, by every command that reads one."""
    content, said = BAD_PLANS[name]
    path = tmp_path / "plan.toml"
    path.write_bytes(content.encode() if isinstance(content, str) else content)

    message = refused("plan", path) if first_word == "plan" else refused("check", samples.log, "--plan", path)

    assert [part for part in said if part not in message] == []
    assert "the plan cannot be used" in message


def test_missing_plan_is_refused(tmp_path: Path, samples: Samples):
    """A plan that is not there, and a folder for a plan."""
    missing = refused("check", samples.log, "--plan", tmp_path / "none.toml")
    folder = refused("plan", tmp_path)

    assert "none.toml: the plan cannot be used" in missing
    assert "no such file" in missing.lower()
    assert f"{tmp_path}: the plan cannot be used" in folder


def test_log_given_as_a_plan(samples: Samples):
    """The two files mixed up."""
    assert "fast.csv: the plan cannot be used" in refused("check", samples.plan, "--plan", samples.log)


# ---- logger files

BAD_LOGGERS: dict[str, tuple[Content, list[str]]] = {
    "empty": ("", ["mine.toml"]),
    "no TOML": ("nonsense\n", ["mine.toml", "line 1", "not valid TOML"]),
    "binary": (b"\xff\xfe\0\1" * 99, ["mine.toml"]),
    "unknown unit": (
        LEAST_LOGGER + '[[channel]]\ncolumn = "I"\nrole = "battery_a"\nunit = "Amp"\n',
        ["channel[1].unit", "Amp"],
    ),
    "unknown role": (
        LEAST_LOGGER + '[[channel]]\ncolumn = "I"\nrole = "battery_amps"\nunit = "A"\n',
        ["channel[1].role", "battery_amps"],
    ),
    "many faults": (
        LEAST_LOGGER.replace('"s"', '"hours"')
        + '[[channel]]\ncolumn = "I"\nrole = "battery_a"\nunit = "V"\n'
        + '[[channel]]\ncolumn = "U"\nrole = "battery_v"\nunit = "V"\ngain_error_pct = -1\n',
        ["time.unit", "channel[2].gain_error_pct"],
    ),
}


@pytest.mark.parametrize("name", BAD_LOGGERS)
def test_bad_logger_file_is_refused(tmp_path: Path, plan: Path, name: str):
    """All faults of a logger file are listed at once, each with its path."""
    content, said = BAD_LOGGERS[name]
    log, path = tmp_path / "log.csv", tmp_path / "mine.toml"
    log.write_text(rows(50), encoding="utf-8")
    path.write_bytes(content.encode() if isinstance(content, str) else content)

    message = refused("check", log, "--plan", plan, "--logger", path)

    assert [part for part in said if part not in message] == []
    assert "the logger file cannot be used" in message


def test_missing_logger_file_is_refused(tmp_path: Path, plan: Path):
    """A logger file that is named but not there."""
    log = tmp_path / "log.csv"
    log.write_text(rows(50), encoding="utf-8")

    message = refused("check", log, "--plan", plan, "--logger", tmp_path / "none.toml")

    assert "none.toml: the logger file cannot be used" in message


# ---- where the results go

OUTPUTS: dict[str, Callable[[Path], Path]] = {
    "folder that is missing": lambda folder: folder / "none" / "r.out",
    "folder for a file": lambda folder: folder,
    "file for a folder": lambda folder: folder / "plan.toml" / "r.out",
}


@pytest.mark.parametrize("option", ["--report", "--json"])
@pytest.mark.parametrize("name", OUTPUTS)
def test_unwritable_output_is_refused(tmp_path: Path, plan: Path, samples: Samples, name: str, option: str):
    """A result that cannot be written says so, and leaves nothing half written."""
    before = sorted(tmp_path.rglob("*"))

    target = OUTPUTS[name](tmp_path)
    done = CliRunner().invoke(app, ["check", str(samples.late), "--plan", str(plan), option, str(target)])

    assert done.exit_code == 2
    assert done.stderr.count("benchlog: ") == 1
    assert "is a folder" in done.stderr or "cannot be written" in done.stderr
    assert sorted(tmp_path.rglob("*")) == before


# ---- what this user may not read or write


def as_an_ordinary_user(*words: str | Path) -> subprocess.CompletedProcess[str]:
    """Run benchlog without root's right to read and write everything, also where the tests run as root."""
    return subprocess.run(
        command(*words), capture_output=True, text=True, timeout=60, check=False, preexec_fn=without_override
    )


def test_folder_that_may_not_be_written(tmp_path: Path, plan: Path):
    """A report into a folder of someone else is refused, and none is left there."""
    log = tmp_path / "log.csv"
    log.write_text(rows(500), encoding="utf-8")
    closed = tmp_path / "closed"
    closed.mkdir(mode=0o555)

    done = as_an_ordinary_user("check", log, "--plan", plan, "--report", closed / "r.html")

    assert done.returncode == 2
    assert f"{closed / 'r.html'}: the report cannot be written (permission denied)" in done.stderr
    assert "Traceback" not in done.stderr
    assert list(closed.iterdir()) == []


WHOLE_LOGGER = (
    LEAST_LOGGER.replace('"t"', '"time_s"') + '[[channel]]\ncolumn = "battery_v"\nrole = "battery_v"\nunit = "V"\n'
)


@pytest.mark.parametrize("what", ["log.csv", "plan.toml", "mine.toml"])
def test_unreadable_file_is_named(tmp_path: Path, what: str):
    """The message is benchlog's own and says what to do."""
    for name, text in (("log.csv", rows(50)), ("plan.toml", LEAST_PLAN), ("mine.toml", WHOLE_LOGGER)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / what).chmod(0)
    words = ("check", tmp_path / "log.csv", "--plan", tmp_path / "plan.toml", "--logger", tmp_path / "mine.toml")

    done = as_an_ordinary_user(*words)

    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith(f"benchlog: {tmp_path / what}: ")
    assert "permi" in done.stderr.lower()
    assert "Traceback" not in done.stderr
