"""What the pages say, where it is no part of a result."""
