"""Speed, measured as ratios in one run on one machine; a command, not tests: ``python -m tests.bench``."""
