"""Rendered photos with exact truth, and what the tool makes of them."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command line does: two photos are worked on at a time
