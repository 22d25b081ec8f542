"""Tests of wherewatt."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does, before numpy is loaded
