"""The cache on Valkey, which may be away: then it forgets, and pages go on.

Only throttling and short-lived hints live in the cache. With the broker's
server down, a page must still answer (design promise: "broker down: pages
work"), so a connection error reads as a miss. Sign-in stays throttled in each
process by a second, local count (portal.accounts).
"""

import logging
from collections.abc import Callable
from typing import Any, TypeVar

from django.core.cache.backends.redis import RedisCache
from redis.exceptions import RedisError

__all__ = ["FailOpenRedisCache"]

logger = logging.getLogger(__name__)
T = TypeVar("T")


class FailOpenRedisCache(RedisCache):  # type: ignore[misc] -- stubs leave the base untyped
    """Django's Redis cache, with connection errors read as misses."""

    def _try(self, call: Callable[[], T], fallback: T) -> T:
        try:
            return call()
        except (RedisError, OSError):
            logger.warning("cache away; going on without it")
            return fallback

    def get(self, key: str, default: Any = None, version: int | None = None) -> Any:
        """Return the cached value, or the default on a miss or with no server."""
        return self._try(lambda: super(FailOpenRedisCache, self).get(key, default, version), default)

    def set(self, key: str, value: Any, *args: Any, **kwargs: Any) -> None:
        """Store a value if the server is there."""
        self._try(lambda: super(FailOpenRedisCache, self).set(key, value, *args, **kwargs), None)

    def add(self, key: str, value: Any, *args: Any, **kwargs: Any) -> bool:
        """Store a value if absent; with no server, say it was stored."""
        return self._try(
            lambda: bool(super(FailOpenRedisCache, self).add(key, value, *args, **kwargs)), True
        )

    def delete(self, key: str, version: int | None = None) -> bool:
        """Forget a value; with no server there is nothing to forget."""
        return self._try(lambda: bool(super(FailOpenRedisCache, self).delete(key, version)), False)
