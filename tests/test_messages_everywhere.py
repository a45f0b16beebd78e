"""Together the tests of messages look through every file that has any."""

from pathlib import Path

import test_messages
import test_messages_bench
import test_messages_find
import test_messages_many
import test_messages_pages
import test_messages_store
from messages import TOP, refuses, texts_of

#: Files that name the error, and have no message of their own.
ELSEWHERE = {
    "benchlog/__init__.py": "hands it on under the package's name",
    "dashboards/apart.py": "test_pages_apart brings up both: too long, and too much memory",
    "benchlog/process/lent.py": "passes over what those were told that nobody waits for",
    "benchlog/core/errors.py": "the kinds of errors themselves",
}


SOURCE = '''
TABLE = {1: "words in a table"}

class Odd(BenchlogError):
    def __init__(self):
        super().__init__("words within a class")

def one(x):
    text = "words in a variable"
    if x:
        text += " and some more"
    raise BenchlogError(text)

def two(x):
    faults = []
    faults.append("words in a list")
    raise BenchlogError("; ".join(faults))

def three(x):
    raise BenchlogError(TABLE.get(x) or four()) from Odd()

def four():
    return "words of a function"

def five(what):
    raise BenchlogError(f"{what} is no good at all")

def six():
    five("words that are given")
    return "words that nobody raises"

def seven(x):
    """Words of a docstring."""
    typer.echo("words that are told", err=True)
    typer.echo("words for all is well")
'''


def test_a_message_is_followed_to_its_words(tmp_path: Path):
    """Words count that are raised or told as a fault, wherever in the file they stand; no others."""
    path = tmp_path / "source.py"
    path.write_text(SOURCE, encoding="utf-8")

    assert set(texts_of(path, raised=True)) == {
        "words in a table",
        "words within a class",
        "words in a variable",
        " and some more",
        "words in a list",
        "words of a function",
        " is no good at all",
        "words that are given",
        "words that are told",
    }


def test_every_file_that_refuses_is_looked_through():
    """A file that refuses something, or tells of a fault, is in the list of one of the tests; none is there in vain."""
    tables = (test_messages, test_messages_bench, test_messages_find, test_messages_many, test_messages_pages)
    listed = [name for table in (*tables, test_messages_store) for name in table.FILES]

    there = {
        path.relative_to(TOP).as_posix()
        for folder in ("benchlog", "dashboards")
        for path in sorted((TOP / folder).rglob("*.py"))
        if refuses(path)
    }

    assert there - set(listed) == set(ELSEWHERE)
    assert len(listed) == len(set(listed))


def test_what_refuses_is_seen():
    """A file that raises, hands on a refusal or writes to standard error is found; one that only catches is not."""
    found = {
        name: refuses(TOP / "benchlog" / f"{name}.py")
        for name in ("core/files", "core/toml_files", "__main__", "bench/live")
    }

    assert all(found.values())
    assert not refuses(TOP / "benchlog" / "core" / "places.py")
    assert not refuses(TOP / "benchlog" / "bench" / "recording" / "state.py")
