"""The guided acceptance test: leads the tester step by step, and sees in the stream when each step is done."""

from benchlog.bench.guided.session import Ended, run_session

__all__ = ["Ended", "run_session"]
