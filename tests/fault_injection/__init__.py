"""Servers killed while work goes on: a command, and tests in small: ``python -m tests.fault_injection``."""
