"""The engine: what may go into one tank, in which order and how much, worked out from labels and rule tables.

`check_mix` is the one entry point; `python -m mixing` is the same engine as a command. It knows nothing of
farms, users or databases, and reads nothing but its own rule tables. Its modules are loaded when one of these
names is first asked for, so that whoever imports the package without checking a mix does not wait.
"""

from __future__ import annotations

import importlib

TYPE_CHECKING = False  # as `typing` has it, which takes longer to load than all that is here
if TYPE_CHECKING:
    from mixing.check import check_mix, check_request
    from mixing.faults import MixRequestError
    from mixing.request_reading import read_request

__all__ = ["MixRequestError", "check_mix", "check_request", "read_request"]

_MODULES = {
    "MixRequestError": "mixing.faults",
    "check_mix": "mixing.check",
    "check_request": "mixing.check",
    "read_request": "mixing.request_reading",
}


def __getattr__(name: str) -> object:
    if name not in _MODULES:
        raise AttributeError(f"module 'mixing' has no attribute {name!r}")
    return getattr(importlib.import_module(_MODULES[name]), name)
