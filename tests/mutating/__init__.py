"""Mutation testing: small faults put into the sources one at a time, to see whether the tests notice them."""
