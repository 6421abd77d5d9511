"""The one writer of whole files, and locks that end with their process.

Every whole file goes through here. What grows as a job goes on does not: the log of a set-up, and
the parts and the state of a run over a list.
"""

import contextlib
import errno
import os
import secrets
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

from dbox.errors import ScenarioError, shorten


def lock(descriptor: int) -> bool:
    """Lock an open file against every other process that asks for the lock."""
    try:
        if sys.platform == "win32":
            import msvcrt

            # a locked byte cannot be read by others there, so one far beyond the content is taken
            os.lseek(descriptor, 2**30, os.SEEK_SET)
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    return True


def check_place(path: Path, *, overwrite: bool | None = None) -> Path:
    """Refuse a path that no file can be written to.

    overwrite: Whether one that is there may go; None: it never may, so no option is named.
    """
    is_there = False
    try:
        path.lstat()
        is_there = True
        path.stat()
    except (FileNotFoundError, NotADirectoryError):
        # a link may lead to what is not there yet
        pass
    except (OSError, ValueError) as error:
        # too long a name, a NUL in it, or links in a circle
        raise cannot_write(path, error) from error
    if path.is_dir():
        raise ScenarioError(f"{path}: is a folder; name a file in it")
    if not path.parent.is_dir():
        raise ScenarioError(f"{path}: there is no folder {path.parent}; make it first")
    if not os.access(path.parent, os.W_OK):
        raise ScenarioError(f"{path}: the folder {path.parent} cannot be written to; name another")
    if is_there and not overwrite:
        raise _is_there(path, overwrite)
    if path.exists() and not (path.is_file() and os.access(path, os.W_OK)):
        raise ScenarioError(f"{path}: is no file that may be replaced; name another")
    return path


def behind_links(path: Path, ending: str) -> Path:
    """The file that a name leads to; refused where it is none, or has no room for an ending."""
    try:
        real = path.resolve()
        for place in (real, real.with_name(f"{real.name}{ending}")):
            with contextlib.suppress(FileNotFoundError, NotADirectoryError):
                place.lstat()
    except (OSError, RuntimeError, ValueError) as error:
        # links in a circle, a NUL in it, or a name too long
        reason = getattr(error, "strerror", None) or error
        raise ScenarioError(
            f"{shorten(str(path), 200)}: cannot be used, alone or with {ending} added ({reason}); "
            "take another name, or a shorter one"
        ) from error
    return real


def write_file(
    path: Path, content: bytes | str | Callable[[Path], None], *, overwrite: bool | None = None
) -> None:
    """Write a whole file, down to the disk; where that fails, what stood there stands.

    overwrite: As of `check_place`.
    """
    check_place(path, overwrite=overwrite)
    place = path.resolve() if overwrite else path
    # what draws goes by the ending, and no ending that says something is longer
    aside = place.with_name(f".dbox-{secrets.token_hex(8)}{path.suffix.lower()[:9]}")
    try:
        with aside.open("xb") as file:
            if callable(content):
                content(aside)
            else:
                file.write(content.encode() if isinstance(content, str) else content)
            file.flush()
            os.fsync(file.fileno())
        if overwrite and place.exists():
            shutil.copymode(place, aside)
        put(aside, place, overwrite=bool(overwrite))
    except FileExistsError as error:
        raise _is_there(path, overwrite) from error
    except (OSError, UnicodeEncodeError) as error:
        raise cannot_write(path, error) from error
    finally:
        aside.unlink(missing_ok=True)


def put(aside: Path, place: Path, *, overwrite: bool = False) -> None:
    """Give a file its name in one step; FileExistsError where another has it and may not go."""
    if overwrite:
        aside.replace(place)
    else:
        try:
            os.link(aside, place)
        except FileExistsError:
            # the same file under both names is what a kill has left of this very step
            if not os.path.samestat(aside.lstat(), place.lstat()):
                raise
        except OSError:
            # a file has but one name there, as on a memory stick: take that, then bring the file
            place.open("xb").close()
            aside.replace(place)
        aside.unlink(missing_ok=True)
    keep_name(place)


def keep_name(path: Path) -> None:
    """Bring the name of a new file to the disk, as `fsync` of the file alone does not."""
    if os.name == "nt":
        # a folder cannot be flushed there
        return
    try:
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
    except OSError as error:
        # some network disks cannot flush a folder; the file in it is flushed all the same
        if error.errno not in (errno.EINVAL, errno.EACCES, errno.ENOTSUP):
            raise


def is_begun(path: Path, content: bytes) -> bool:
    """Whether all that stands there is the content or its beginning, as a kill may have left it."""
    try:
        return content.startswith(path.read_bytes())
    except OSError:
        return False


def cannot_write(path: Path, error: OSError | ValueError) -> ScenarioError:
    """What is said where the system refuses."""
    # a path with a NUL in it is a ValueError, which has no strerror
    reason = getattr(error, "strerror", None) or error
    return ScenarioError(
        f"{shorten(str(path), 200)}: cannot be written ({reason}); make room, or name another place"
    )


def _is_there(path: Path, overwrite: bool | None) -> ScenarioError:
    mend = "" if overwrite is None else ", or give --overwrite"
    return ScenarioError(f"{path}: is there already and is not replaced; name another file{mend}")
