"""One thread makes pieces while the other takes them: packing and the database keep a processor each busy."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterable, Iterator
from typing import TypeVar

Piece = TypeVar("Piece")
AHEAD = 8
"""So many pieces are made before one is taken."""
A_LOOK_S = 0.2


def made_ahead(pieces: Iterable[Piece]) -> Iterator[Piece]:
    """Yield what another thread reads from `pieces`; what is raised there is raised here.

    Where the taker stops early, the other thread stops at its next piece.
    """
    line: queue.Queue[tuple[Piece | None, BaseException | None]] = queue.Queue(AHEAD)
    over = threading.Event()

    def put(piece: Piece | None, failure: BaseException | None) -> bool:
        while not over.is_set():
            try:
                line.put((piece, failure), timeout=A_LOOK_S)
                return True
            except queue.Full:
                continue
        return False

    def make() -> None:
        failure: BaseException | None = None
        try:
            for piece in pieces:
                if not put(piece, None):
                    return
        except BaseException as raised:
            failure = raised
        put(None, failure)

    maker = threading.Thread(target=make, daemon=True)
    maker.start()
    try:
        while True:
            piece, failure = line.get()
            if failure is not None:
                raise failure
            if piece is None:
                return
            yield piece
    finally:
        over.set()
        maker.join()
