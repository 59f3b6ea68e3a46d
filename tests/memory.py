"""Where files of a test run lie: in memory where the system has room for them there.

Nothing of a run is kept, and the databases wait for the disk at every commit.
"""

import shutil
from pathlib import Path

SHARED_MEMORY = Path("/dev/shm")
ROOM = 2 * 1024**3

#: The folder to make temporary folders in; None is the system's usual one.
IN_MEMORY = (
    SHARED_MEMORY
    if SHARED_MEMORY.is_dir() and shutil.disk_usage(SHARED_MEMORY).free > ROOM
    else None
)
