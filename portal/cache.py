"""The cache on Valkey, which may be away: then each process remembers by itself.

The cache holds throttling counts and used one-time codes only. With the server
down a page must still answer (design promise: "broker down: pages work"), and
guessing a password must still be slow. So a connection error turns to a store of
this process, and for some seconds nothing tries the server again. The limits are
then per process: with four web processes, up to four times as many tries.
"""

import logging
import time
from typing import Any, cast

from django.core.cache.backends.locmem import LocMemCache
from django.core.cache.backends.redis import RedisCache
from redis.exceptions import RedisError

__all__ = ["FailOpenRedisCache"]

logger = logging.getLogger(__name__)

# Long enough that an outage costs no request a connection timeout each, short
# enough that the shared counts are back soon.
_PAUSE_SECONDS = 5.0


class FailOpenRedisCache(RedisCache):
    """Django's Redis cache with a store of the process behind it."""

    def __init__(self, server: str, params: dict[str, Any]) -> None:
        super().__init__(server, params)
        # One store per process under this name, whichever thread asks.
        self._local = LocMemCache("chairbench-cache-away", params)

    _away_until = 0.0

    def _either(self, name: str, *args: Any, **kwargs: Any) -> Any:
        cls = FailOpenRedisCache
        if time.monotonic() >= cls._away_until:
            try:
                return getattr(super(), name)(*args, **kwargs)
            except (RedisError, OSError):
                cls._away_until = time.monotonic() + _PAUSE_SECONDS
                logger.warning("cache server away; this process remembers by itself")
        return getattr(self._local, name)(*args, **kwargs)

    def get(self, *args: Any, **kwargs: Any) -> Any:
        """Return the cached value or the default."""
        return self._either("get", *args, **kwargs)

    def set(self, *args: Any, **kwargs: Any) -> None:
        """Store a value."""
        self._either("set", *args, **kwargs)

    def add(self, *args: Any, **kwargs: Any) -> bool:
        """Store a value if there is none; return whether it was stored."""
        return cast(bool, self._either("add", *args, **kwargs))

    def delete(self, *args: Any, **kwargs: Any) -> bool:
        """Forget a value; return whether there was one."""
        return cast(bool, self._either("delete", *args, **kwargs))

    def touch(self, *args: Any, **kwargs: Any) -> bool:
        """Give a value a new lifetime; return whether there was one."""
        return cast(bool, self._either("touch", *args, **kwargs))

    def incr(self, *args: Any, **kwargs: Any) -> int:
        """Add to a number; ValueError when there is none."""
        return cast(int, self._either("incr", *args, **kwargs))

    def has_key(self, *args: Any, **kwargs: Any) -> bool:
        """Return whether there is a value."""
        return cast(bool, self._either("has_key", *args, **kwargs))

    def get_many(self, *args: Any, **kwargs: Any) -> dict[Any, Any]:
        """Return the values there are."""
        return cast(dict[Any, Any], self._either("get_many", *args, **kwargs))

    def set_many(self, *args: Any, **kwargs: Any) -> list[Any]:
        """Store values; return the keys that could not be."""
        return cast(list[Any], self._either("set_many", *args, **kwargs) or [])

    def delete_many(self, *args: Any, **kwargs: Any) -> None:
        """Forget values."""
        self._either("delete_many", *args, **kwargs)

    def clear(self) -> None:
        """Forget everything."""
        self._local.clear()
        self._either("clear")
