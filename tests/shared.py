"""What several files of tests need is made once in a run of the suite, and kept in a folder that its workers share."""

import fcntl
import os
import pickle
from pathlib import Path

#: Variable of the environment with the folder; ``conftest.py`` makes it.
FOLDER = "BINESTIMATOR_TESTS_SHARED"


def shared(name: str, make):
    """An object that the first who asks for it makes, and all others read.

    Parameters
    ----------
    name : str
        Says all that the object depends on besides the program itself.
    make : callable
        May not run under anything that a test has put in place of a part of the program.
    """
    folder = os.environ.get(FOLDER)
    if folder is None:  # a file of tests that is run as a program
        return make()
    path = Path(folder, f"{name}.pickle")
    with path.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not path.exists():
            path.write_bytes(pickle.dumps(make()))
    return pickle.loads(path.read_bytes())
