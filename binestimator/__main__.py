"""``python -m binestimator`` is the command ``binestimator``."""

import sys

from binestimator.cli import command

if __name__ == "__main__":
    sys.exit(command())
