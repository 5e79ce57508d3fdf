"""The life of a child process that simulates one share: the share comes in pickled, its truth goes out pickled."""

import pickle
import sys

from demo_fleet.shares import write_share
from demo_fleet.truth import Truth

if __name__ == "__main__":
    share = pickle.load(sys.stdin.buffer)  # noqa: S301 written by our own parent process
    truth = Truth()
    for _ in write_share(share, truth):
        pass
    sys.stdout.buffer.write(pickle.dumps(truth))
