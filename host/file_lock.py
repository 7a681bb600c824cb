"""A lock on a file that goes with the process however that ends."""

import sys

if sys.platform == "win32":  # not tried: there is no such machine here
    import msvcrt

    def take_lock(descriptor: int) -> None:
        """Lock a file at once, or raise `OSError`."""
        msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def take_lock(descriptor: int) -> None:
        """Lock a file at once, or raise `OSError`."""
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
