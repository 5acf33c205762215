"""Verovio, one toolkit to a thread.

A toolkit shared between threads gives wrong pictures, and its options outlive a drawing:
each thread has its own, taken with the options of one use and reset before.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import verovio

_local = threading.local()


@contextmanager
def toolkit(options: Mapping[str, Any]) -> Iterator[Any]:
    """This thread's toolkit with exactly these options."""
    if not hasattr(_local, "toolkit"):
        verovio.enableLog(verovio.LOG_OFF)
        verovio.setDefaultResourcePath(os.path.join(os.path.dirname(verovio.__file__), "data"))
        _local.toolkit = verovio.toolkit()
    _local.toolkit.resetOptions()
    _local.toolkit.setOptions(dict(options))
    yield _local.toolkit
