"""Every fault at every place of the stand-in, from its log to the place: ``python tests/find_standin.py [WORD…]``.

The log is the stand-in's, and each answer what its meter shows; with words only places and kinds of those names.
"""

import sys
import tempfile
from pathlib import Path
from statistics import median

from test_standin_probe import GOOD, NOT_BEFORE, SLOTS, hunted

from benchlog.find.beliefs import Knowledge
from benchlog.plan.model import load_plan
from benchlog.standin import plan_toml_of
from benchlog.standin.probing.places import placed, places


def main() -> None:
    """Print how each ends, and how many end right."""
    folder, right, tests = Path(tempfile.mkdtemp()), [], []
    plan = folder / "plan.toml"
    plan.write_text(plan_toml_of(GOOD, NOT_BEFORE), encoding="utf-8")
    knowledge = Knowledge(load_plan(plan))
    for place, kinds in places(SLOTS):
        for kind in kinds:
            if sys.argv[1:] and not {place, kind} & set(sys.argv[1:]):
                continue
            found, count = hunted(knowledge, placed(kind, place, SLOTS), folder)
            ended = found is not None and found.kind == kind and place in (found.place, *found.also)
            print("right" if ended else "WRONG", f"{count:3}", place, kind, "" if ended else found, flush=True)
            right.append(ended)
            tests.append(count)
    print(f"{sum(right)} of {len(right)} right; tests: median {median(tests):g}, at most {max(tests)}")


if __name__ == "__main__":
    main()
