"""May this process have a file for itself? A lock that ends with the process, however that ends."""

import errno
import os
import sys

_TAKEN = {errno.EACCES, errno.EAGAIN, errno.EWOULDBLOCK, errno.EDEADLK}

if sys.platform == "win32":
    import msvcrt

    def _lock(descriptor: int) -> None:
        # a locked byte cannot be read by others there, so one far beyond the content is taken
        os.lseek(descriptor, 2**30, os.SEEK_SET)
        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _lock(descriptor: int) -> None:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)


def lock(descriptor: int) -> bool:
    """Lock an open file against every other process that asks for the lock.

    Parameters
    ----------
    descriptor : int
        The open file; the lock is held until it is closed.

    Returns
    -------
    bool
        False where another process has it.

    Raises
    ------
    OSError
        Where the file cannot be locked at all.
    """
    try:
        _lock(descriptor)
    except OSError as error:
        if error.errno not in _TAKEN:
            raise
        return False
    return True
