"""Two folders change places in one step, where the system can."""

from __future__ import annotations

import ctypes
import errno
import os
import sys
from pathlib import Path

# renameat2(2) and <linux/fs.h>, <fcntl.h> of Linux; glibc has it since 2.28.
_EXCHANGE = 2
_HERE = -100  # AT_FDCWD: paths as a process usually sees them
_UNABLE = {errno.ENOSYS, errno.EINVAL, errno.EOPNOTSUPP}  # an old kernel or another file system


def exchange(one: Path, other: Path) -> bool:
    """Let what is at `one` and what is at `other` change places; no moment lies between.

    False, and nothing done, where the system or the file system has no such call.  Raises
    OSError when it has and refuses.
    """
    if sys.platform != "linux":
        return False
    rename = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if rename is None:
        return False
    if rename(_HERE, os.fsencode(one), _HERE, os.fsencode(other), _EXCHANGE) == 0:
        return True
    code = ctypes.get_errno()
    if code in _UNABLE:
        return False
    raise OSError(code, os.strerror(code), str(other))
