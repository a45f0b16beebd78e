"""How far long work is: counts, the time that is left, and who is slow."""

import json
import time

import pytest

from benchlog.process.course import Course
from benchlog.process.orders import Answer, Outcome


def fed(jobs: dict[str, tuple[int, float]], of: int) -> Course:
    """A course of so many jobs of each process, which take so long, s."""
    course, done = Course(of), 0
    for who, (count, took_s) in jobs.items():
        for _ in range(count):
            done += 1
            course.watch(done, Answer(Outcome.DONE, None, took_s, who))
    return course


def test_time_left_is_that_of_the_rest_at_the_pace_so_far():
    """A quarter done in 10 s leaves 30 s; before the first answer nothing is known."""
    course = Course(40, began=time.monotonic() - 10)
    assert course.left_s is None
    course.watch(10, Answer(Outcome.DONE, None, 1.0, "a"))

    assert course.left_s is not None
    assert abs(course.left_s - 30) < 0.5
    assert course.line() == "10 of 40 done, 30 s left"
    course.began, course.of = time.monotonic() - 3600, 20
    assert course.line() == "10 of 20 done, 1 h 0 min left"
    course.began = time.monotonic() - 150
    assert course.line() == "10 of 20 done, 2 min 30 s left"


def test_process_is_slow_that_takes_twice_as_long_as_the_others():
    """Named once it has done five; one that did fewer, or all that are alike, are not."""
    assert fed({"a": (6, 0.1), "b": (6, 0.11), "c": (5, 0.35)}, 17).slow == {"c": pytest.approx(0.35 / 0.105)}
    assert fed({"a": (6, 0.1), "b": (4, 0.9)}, 10).slow == {}
    assert fed({"a": (6, 0.1), "b": (6, 0.19)}, 12).slow == {}
    assert fed({"a": (6, 0.1)}, 6).slow == {}
    assert fed({"a": (6, 0.1), "b": (6, 0.3)}, 12).line() == "12 of 12 done, b takes 3.0 times as long"


def test_event_says_the_same_to_programs():
    """Plain JSON."""
    course = fed({"a": (6, 0.1), "b": (6, 0.3)}, 24)
    course.failed = 2
    event = json.loads(json.dumps(course.event()))

    assert {key: event[key] for key in ("event", "done", "of", "failed", "slow")} == {
        "event": "progress", "done": 12, "of": 24, "failed": 2, "slow": {"b": 3.0},
    }  # fmt: skip
    assert event["left_s"] >= 0
