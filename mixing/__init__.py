"""The engine: what may go into one tank, in which order and how much, worked out from labels and rule tables.

`check_mix` is the one entry point; `python -m mixing` is the same engine as a command. It knows nothing of
farms, users or databases, and reads nothing but its own rule tables.
"""

from mixing.check import check_mix, check_request
from mixing.faults import MixRequestError
from mixing.request_reading import read_request

__all__ = ["MixRequestError", "check_mix", "check_request", "read_request"]
