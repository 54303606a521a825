"""Speed, measured: `python -m tests.bench`. Not part of the test command."""
