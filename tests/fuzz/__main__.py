"""`python -m tests.fuzz`; the processes that it starts import `run`, not this."""

from tests.fuzz import run

if __name__ == "__main__":
    raise SystemExit(run.main())
