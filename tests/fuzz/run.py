"""Coverage-guided fuzzing of one target, with atheris.

    python tests/fuzz/run.py TARGET [--minutes N] [--found FOLDER] [--work FOLDER]

Starts from ``corpus/TARGET``; what is new goes to the work folder, what breaks something to the folder of finds.
``corpus`` itself is kept small by hand; ``test_corpus.py`` runs it without atheris.
"""

import argparse
import sys
from pathlib import Path

import atheris

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent.parent)]

with atheris.instrument_imports(include=["benchlog", "tomllib"]):
    import targets

SECONDS_EACH, MOST_MB = 20, 1000


def main() -> None:
    """Fuzz until the time is up; ends with a status other than 0 at the first find."""
    parser = argparse.ArgumentParser(description="fuzz one target")
    parser.add_argument("target", choices=sorted(targets.TARGETS))
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--found", type=Path, default=Path("/tmp/benchlog-fuzz/found"))
    parser.add_argument("--work", type=Path, default=Path("/tmp/benchlog-fuzz/work"))
    given = parser.parse_args()
    work, found = given.work / given.target, given.found / given.target
    for folder in (work, found):
        folder.mkdir(parents=True, exist_ok=True)
    words = [
        *(sys.argv[0], str(work), str(HERE / "corpus" / given.target)),
        *(f"-dict={HERE / 'words.dict'}", f"-max_total_time={int(given.minutes * 60)}", "-max_len=4096"),
        *(f"-timeout={SECONDS_EACH}", f"-rss_limit_mb={MOST_MB}", f"-artifact_prefix={found}/", "-print_final_stats=1"),
    ]
    atheris.Setup(words, targets.TARGETS[given.target])
    atheris.Fuzz()


if __name__ == "__main__":
    main()
