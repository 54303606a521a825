"""What happens to a farm's books when machines fail: `python -m tests.faults`."""
