"""The command line, as a program: exit statuses, what goes to which stream, and that no traceback is ever shown."""

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import program
import pytest
import scenarios
from conftest import Samples
from jsonschema import Draft202012Validator
from scenarios import write_files

from benchlog.standin import SimulatedInstall, acceptance_script, fast_logger, plan_toml_of
from benchlog.verdict.schemas import schema_of

PROGRAM = "from benchlog.__main__ import main; main()"
COMMANDS = ("check", "plan", "demo", "schema")


def command(*words: str | Path) -> list[str]:
    """The command line that starts benchlog with this Python."""
    return [sys.executable, "-c", PROGRAM, *(str(word) for word in words)]


def run(*words: str | Path, cwd: Path | None = None, **environment: str) -> subprocess.CompletedProcess[str]:
    """Run benchlog as a program of its own, on a terminal of 80 columns."""
    ran = program.run(*words, cwd=cwd, env={**os.environ, "COLUMNS": "80", "NO_COLOR": "1", **environment})
    done = subprocess.CompletedProcess(list(words), ran.returncode, ran.stdout.decode(), ran.stderr.decode())
    assert "Traceback" not in done.stdout + done.stderr
    return done


@pytest.fixture(scope="session")
def passing(
    samples: Samples, tmp_path_factory: pytest.TempPathFactory
) -> tuple[subprocess.CompletedProcess[str], Path]:
    """One whole check that passes, with JSON and report, and the folder of both."""
    folder = tmp_path_factory.mktemp("passing")
    written = ("--json", folder / "out.json", "--report", folder / "out.html")
    given = ("check", samples.log, samples.slow, "--plan", samples.plan, "--before", samples.before)
    return run(*given, *written), folder


# ---- exit status and streams


def test_pass_is_status_0(passing: tuple[subprocess.CompletedProcess[str], Path]):
    """An install whose every planned check passes ends with status 0 and a quiet standard error."""
    done, _ = passing

    assert (done.returncode, done.stderr) == (0, "")
    assert "pass" in done.stdout


def test_fail_is_status_1(samples: Samples):
    """A failed check ends with status 1 and is named on standard output."""
    done = run("check", samples.late, "--plan", samples.plan)

    assert (done.returncode, done.stderr) == (1, "")
    assert "Relay drop-out" in done.stdout


def test_not_proven_is_status_3(samples: Samples):
    """A planned check left open, here the added drain, ends with status 3."""
    done = run("check", samples.log, "--plan", samples.plan)

    assert (done.returncode, done.stderr) == (3, "")
    assert "--before" in done.stdout


def test_unusable_input_is_status_2(samples: Samples):
    """Input that cannot be used ends with status 2, one message on standard error and nothing on standard output."""
    done = run("check", samples.folder / "none.csv", "--plan", samples.plan)

    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("benchlog: ")


def test_json_to_standard_output_stands_alone(samples: Samples):
    """With ``--json -`` standard output holds one JSON document, and the status is the verdict's."""
    done = run("check", samples.late, "--plan", samples.plan, "--json", "-")
    data = json.loads(done.stdout)

    assert (done.returncode, done.stderr, data["verdict"]) == (1, "", "fail")
    assert list(Draft202012Validator(schema_of("result")).iter_errors(data)) == []


def test_json_to_standard_output_with_a_report(samples: Samples, tmp_path: Path):
    """The line that names the report does not mix with the JSON."""
    done = run("check", samples.log, "--plan", samples.plan, "--json", "-", "--report", tmp_path / "r.html")

    assert json.loads(done.stdout)["verdict"] == "not proven"
    assert "r.html" in done.stderr
    assert (tmp_path / "r.html").is_file()


def test_json_and_report_files(passing: tuple[subprocess.CompletedProcess[str], Path]):
    """Both files are written whole beside the text, which names the report; nothing else is left."""
    done, folder = passing
    data = json.loads((folder / "out.json").read_text(encoding="utf-8"))

    assert (data["verdict"], data["bike"]) == ("pass", "Larch")
    assert "<html" in (folder / "out.html").read_text(encoding="utf-8")[:300]
    assert str(folder / "out.html") in done.stdout
    assert sorted(path.name for path in folder.iterdir()) == ["out.html", "out.json"]


def test_text_fits_80_columns(passing: tuple[subprocess.CompletedProcess[str], Path], samples: Samples):
    """Neither the check's nor the plan's text is wider than 80 columns, the path of the report apart."""
    done, folder = passing
    texts = [done.stdout, run("plan", samples.plan).stdout]

    wide = [line for text in texts for line in text.splitlines() if len(line) > 80 and str(folder) not in line]

    assert wide == []


def test_text_into_a_file_holds_no_colours(passing: tuple[subprocess.CompletedProcess[str], Path]):
    """Where standard output is no terminal, it holds no escape codes."""
    done, _ = passing

    assert "\x1b" not in done.stdout


def test_text_in_a_plain_locale(samples: Samples):
    """An output that is not UTF-8 makes no traceback."""
    plain = {**os.environ, "LC_ALL": "C", "PYTHONIOENCODING": "ascii", "PYTHONUTF8": "0"}
    words = command("check", samples.log, "--plan", samples.plan)
    done = subprocess.run(words, env=plain, capture_output=True, timeout=120, check=False)

    assert done.returncode == 3
    assert b"Traceback" not in done.stderr


def test_closed_pipe_makes_no_traceback(samples: Samples):
    """A reader that stops early (``| head -1``) leaves nothing on standard error."""
    piped = " ".join(f"'{word}'" for word in command("check", samples.log, "--plan", samples.plan))
    done = subprocess.run(["bash", "-c", f"{piped} | head -1"], capture_output=True, text=True, timeout=60, check=False)

    assert "Traceback" not in done.stderr
    assert "Exception" not in done.stderr


# ---- the other commands


def test_plan_prints_its_values(samples: Samples):
    """``plan`` says which limits were given and which were derived."""
    done = run("plan", samples.plan)

    assert (done.returncode, done.stderr) == (0, "")
    assert "given" in done.stdout
    assert "derived" in done.stdout


def test_plan_needs_no_more_than_two_tables(tmp_path: Path):
    """The least plan is printed as well."""
    plan = tmp_path / "least.toml"
    plan.write_text('[install]\nbike = "Larch"\n[battery]\nchemistry = "agm"\ncapacity_ah = 11.2\n', encoding="utf-8")

    assert run("plan", plan).returncode == 0


@pytest.mark.parametrize("what", ["plan", "logger", "result", "answers"])
def test_schema_is_a_json_schema(what: str):
    """``schema`` prints a JSON Schema alone."""
    done = run("schema", what)

    assert (done.returncode, done.stderr) == (0, "")
    Draft202012Validator.check_schema(json.loads(done.stdout))


def test_demo_works_from_any_folder(tmp_path: Path):
    """``demo`` needs nothing but itself, names its reports and writes them where it was called."""
    done = run("demo", cwd=tmp_path)
    reports = sorted(path.name for path in tmp_path.iterdir())

    assert (done.returncode, done.stderr) == (0, "")
    assert reports == ["benchlog-report-larch-fault.html", "benchlog-report-larch.html"]
    assert all(name in done.stdout for name in reports)
    assert "Verdict for the good install: pass." in done.stdout
    assert "fail" in done.stdout


def test_help_lists_every_command():
    """``--help`` names each command, and each command its own options."""
    listed = run("--help")
    options = run("check", "--help").stdout

    assert listed.returncode == 0
    assert [word for word in COMMANDS if f"│ {word} " not in listed.stdout] == []
    assert [o for o in ("--plan", "--before", "--logger", "--json", "--report") if o not in options] == []


def test_shell_completes_commands_and_options():
    """What a shell asks for on Tab: commands, those of records, and their options."""
    found = {}
    for words in ("benchlog rec", "benchlog records ve", "benchlog records verify --la"):
        asked = {"_BENCHLOG_COMPLETE": "complete_bash", "COMP_WORDS": words, "COMP_CWORD": str(words.count(" "))}
        script = "import sys; sys.argv[0] = 'benchlog'; from benchlog.__main__ import main; main()"
        done = subprocess.run(
            [sys.executable, "-c", script],
            env={**os.environ, **asked},
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )
        found[words] = done.stdout.split()

    assert found == {
        "benchlog rec": ["record", "records"],
        "benchlog records ve": ["verify"],
        "benchlog records verify --la": ["--last-hash"],
    }


def test_no_word_shows_the_help():
    """Called with nothing, it says what it can do."""
    done = run()

    assert "check" in done.stdout + done.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("nonsense",), "No such command"),
        (("check",), "Missing"),
        (("check", "a.csv"), "--plan"),
        (("check", "a.csv", "--plan", "p.toml", "--nonsense"), "No such option"),
        (("schema", "nonsense"), "'nonsense' is not one of"),
    ],
)
def test_wrong_words_are_explained(words: tuple[str, ...], said: str):
    """A command line that cannot be understood ends with status 2, on standard error alone."""
    done = run(*words)

    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr


def test_one_logger_file_for_all_logs(tmp_path: Path):
    """``--logger`` serves logs that have no logger file beside them; without it the accuracy is not stated."""
    volts = fast_logger(200).only("battery_v", "trigger_v", "feed_v")
    log, plan = write_files(scenarios._log(None, acceptance_script(settle_s=150.0), volts), tmp_path)
    logger = (tmp_path / "a.logger.toml").rename(tmp_path / "mine.toml")
    given = ("check", log, "--plan", plan, "--json", "-")

    texts = [run(*given).stdout, run(*given, "--logger", logger).stdout]
    verdicts = [{check["id"]: check["verdict"] for check in json.loads(text)["checks"]} for text in texts]

    assert [found["resting_voltage"] for found in verdicts] == ["not proven", "pass"]
    assert [found["relay_drop_out"] for found in verdicts] == ["pass", "pass"]


def test_cli_and_python_agree(samples: Samples):
    """The JSON of the command line is that of ``benchlog.check``."""
    import benchlog

    done = run("check", samples.late, "--plan", samples.plan, "--json", "-")

    assert done.stdout.strip() == benchlog.check(samples.late, plan=samples.plan).to_json().strip()


# ---- stopping, and starting quickly


def test_interrupt_ends_cleanly(tmp_path: Path):
    """Ctrl-C while a log is read ends with status 130, no traceback and no report."""
    plan = tmp_path / "plan.toml"
    plan.write_text(plan_toml_of(SimulatedInstall()), encoding="utf-8")
    late = "import time, benchlog.run; benchlog.run.check = lambda *a, **k: (print('on', flush=True), time.sleep(60))"
    words = command("check", "log.csv", "--plan", plan, "--report", tmp_path / "r.html")
    words[2] = f"{late}; {PROGRAM}"
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "on\n"
    time.sleep(0.1)

    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=30)

    assert process.returncode == 130
    assert "Traceback" not in said
    assert not (tmp_path / "r.html").exists()


HEAVY = ("polars", "pandas", "plotly", "numpy", "pydantic")
# reading a command's words, typer 0.29 itself looks for pydantic
HEAVY_IN_COMMANDS = HEAVY[:-1]
ASK_HELP = """
import sys
sys.argv = ["benchlog", {}]
from benchlog.__main__ import main
try:
    main()
except SystemExit:
    pass
"""


@pytest.mark.parametrize(
    ("start", "heavy"),
    [
        ("import benchlog", HEAVY),
        ("import benchlog.cli", HEAVY),
        (ASK_HELP.format("'--help'"), HEAVY),
        (ASK_HELP.format("'check', '--help'"), HEAVY_IN_COMMANDS),
    ],
    ids=["import benchlog", "import benchlog.cli", "--help", "check --help"],
)
def test_starting_is_light(start: str, heavy: tuple[str, ...]):
    """Importing benchlog and asking for help load none of the heavy libraries."""
    ask = f"\nimport sys\nprint(sorted(set({heavy!r}) & set(sys.modules)), file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", start + ask], capture_output=True, text=True, timeout=60, check=True)

    assert done.stderr.strip().splitlines()[-1] == "[]"


def test_demo_in_a_folder_that_is_gone(tmp_path: Path):
    """A working folder that was deleted is said plainly."""
    gone = tmp_path / "gone"
    gone.mkdir()
    line = " ".join(f"'{word}'" for word in command("demo"))
    done = subprocess.run(
        ["bash", "-c", f"cd '{gone}' && rmdir '{gone}' && {line}"],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )

    assert "Traceback" not in done.stderr
    assert done.returncode == 2
