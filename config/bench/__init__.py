"""Benchmarks, one module a name; `run()` yields one dict a figure. Never part of the tests."""
