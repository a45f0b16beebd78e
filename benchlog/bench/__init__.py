"""Beside the bike: recording a stream, and the guided test."""
