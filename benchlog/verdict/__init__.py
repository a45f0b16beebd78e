"""From findings to verdicts, causes and the result."""
