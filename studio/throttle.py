"""How often something may be asked for: counts in the cache, by a key and a stretch of time.

Each server process counts for itself, so the real limit is at most the number of processes
times the one given: enough against guessing and flooding, which is all it is for.
"""

from __future__ import annotations

import hashlib
import time

from django.core.cache import cache


def may(key: str, limit: int, seconds: int) -> bool:
    """Count one more of `key`; False once there were more than `limit` in the current stretch of `seconds`."""
    name = _name(key, seconds)
    cache.add(name, 0, timeout=seconds)
    try:
        return int(cache.incr(name)) <= limit
    except ValueError:  # thrown out of the cache between the two calls
        return True


def spent(key: str, limit: int, seconds: int) -> bool:
    """Whether `key` has been counted `limit` times or more in the current stretch; counts nothing."""
    return int(cache.get(_name(key, seconds), 0)) >= limit


def _name(key: str, seconds: int) -> str:
    """A cache key without the visitor's address or the token in it."""
    stretch = int(time.time() // seconds)
    return "throttle-" + hashlib.sha256(f"{key} {seconds} {stretch}".encode()).hexdigest()
