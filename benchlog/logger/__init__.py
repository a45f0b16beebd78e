"""What a log's columns mean, and how accurately they were measured."""
