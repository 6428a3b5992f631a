"""How are answers remembered, so that nothing that is read back can run or be wrong?

In one process answers lie in its memory. Where several processes answer, Redis keeps them for
all. What Redis gives is not trusted, since others may write there: an entry is plain compressed
text behind a seal made with a key that only this server's processes know, over the entry's name
as well. Without a good seal an entry counts as missing and is worked out again; so does every
one while Redis does not answer, which makes the dashboard slower but never wrong.
"""

import hashlib
import hmac
import logging
import os
import secrets
import threading
import time
import zlib
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any

from flask import Flask
from flask_caching import Cache
from flask_caching.backends.rediscache import RedisCache

from app.settings import Settings

_WAIT_S = 0.25  # for Redis: working an answer out takes about as long
_PAUSE_S = 2.0  # without asking Redis, after it did not answer
_KEPT_S = 3600  # in Redis; a slider that was moved on is rarely moved back later
_TOLD_EVERY_S = 60.0
_SEAL_BYTES = 32
_MOST_BYTES = 8_000_000  # of one entry; the longest answers are far shorter
_KEY_FILE = "cache.key"
_LOG = logging.getLogger("crestline")

Remember = Callable[[str, Callable[[], str]], str]


class Plain:
    """What goes to Redis and comes back is bytes: nothing is unpickled, whatever it is."""

    def dumps(self, value: bytes) -> bytes:
        """Return the value itself."""
        return value

    def loads(self, value: object) -> bytes | None:
        """Return the value itself, or None where there is none."""
        return value if isinstance(value, bytes) else None


class PlainRedisCache(RedisCache):
    """Keeps bytes in Redis, and gives up soon where Redis does not answer."""

    serializer: Any = Plain()

    @classmethod
    def factory(
        cls, app: Flask, config: dict[str, Any], args: list[Any], kwargs: dict[str, Any]
    ) -> "PlainRedisCache":
        """Return the cache of an application; no connection is made yet."""
        import redis
        from redis.backoff import NoBackoff
        from redis.retry import Retry

        client = redis.Redis.from_url(
            config["CACHE_REDIS_URL"],
            socket_timeout=_WAIT_S,
            socket_connect_timeout=_WAIT_S,
            retry=Retry(NoBackoff(), 1),  # once: a connection may have grown old unnoticed
            retry_on_error=[redis.ConnectionError],
        )
        return cls(
            host=client,
            default_timeout=kwargs["default_timeout"],
            key_prefix=config["CACHE_KEY_PREFIX"],
        )


class Memory:
    """Remembers texts in a cache that may fail, forget, or hold what somebody else put there.

    Parameters
    ----------
    cache : Cache
        Keeps values under names.
    key : bytes
        Seals what is kept; nobody else knows it.
    failures : tuple of exception types
        What the cache raises where it cannot be reached.
    clock : callable
        Tells the time, from any start. [s]
    """

    def __init__(
        self,
        cache: Cache,
        key: bytes,
        failures: tuple[type[Exception], ...] = (),
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """Take a cache, which is asked from now on."""
        self._cache = cache
        self._key = key
        self._failures = failures
        self._clock = clock
        self._lock = threading.Lock()
        self._asked_from_s = clock()
        self._told_from_s = clock()

    def remember(self, name: str, compute: Callable[[], str]) -> str:
        """Return a text from the cache where it is there and whole, else work it out.

        Parameters
        ----------
        name : str
            Under which it is kept.
        compute : callable
            Works it out.
        """
        text = self._open(name, self._asked(lambda: self._cache.get(name)))
        if text is None:
            text = compute()
            packed = zlib.compress(text.encode("utf-8"), 1)
            if len(packed) < _MOST_BYTES:
                entry = self._seal(name, packed) + packed
                self._asked(lambda: self._cache.set(name, entry))
        return text

    def _open(self, name: str, entry: object) -> str | None:
        if not isinstance(entry, bytes) or len(entry) > _MOST_BYTES + _SEAL_BYTES:
            return None
        seal, packed = entry[:_SEAL_BYTES], entry[_SEAL_BYTES:]
        if not hmac.compare_digest(seal, self._seal(name, packed)):
            return None  # damaged, of another name, or not from us
        return zlib.decompress(packed).decode("utf-8")

    def _seal(self, name: str, packed: bytes) -> bytes:
        return hmac.digest(self._key, name.encode("utf-8") + b"\0" + packed, "sha256")

    def _asked(self, question: Callable[[], object]) -> object:
        """Ask the cache; None where it does not answer, and for a while after that."""
        if self._clock() < self._asked_from_s:
            return None
        try:
            return question()
        except self._failures as error:
            self._pause(type(error).__name__)
            return None

    def _pause(self, reason: str) -> None:
        """Leave the cache alone for a while; tell it once a minute, without its address."""
        now_s = self._clock()
        with self._lock:
            self._asked_from_s = now_s + _PAUSE_S
            if now_s < self._told_from_s:
                return
            self._told_from_s = now_s + _TOLD_EVERY_S
        _LOG.warning("the cache cannot be used (%s); answers are worked out anew", reason)


def memory(server: Flask, settings: Settings) -> Remember:
    """Return a function that remembers answers, as the settings say where.

    Parameters
    ----------
    server : Flask
        The web server.
    settings : Settings
        redis_url: for all processes in Redis; without it in the memory of this one.
    """
    if not settings.redis_url:
        config: dict[str, Any] = {
            "CACHE_TYPE": "SimpleCache",
            "CACHE_THRESHOLD": settings.cache_entries,
            "CACHE_DEFAULT_TIMEOUT": 0,
        }
        return Memory(Cache(server, config=config), secrets.token_bytes(32)).remember
    import redis

    config = {
        "CACHE_TYPE": f"{__name__}.{PlainRedisCache.__name__}",
        "CACHE_REDIS_URL": settings.redis_url,
        "CACHE_KEY_PREFIX": f"crestline:{release()}:",
        "CACHE_DEFAULT_TIMEOUT": _KEPT_S,
    }
    failures = (redis.RedisError, OSError)
    return Memory(Cache(server, config=config), shared_key(settings.data_folder), failures).remember


@lru_cache(maxsize=1)
def release() -> str:
    """Return a digest of our source, so that no other release's answer is taken for ours."""
    top = Path(__file__).resolve().parent.parent
    digest = hashlib.sha256()
    for package in ("app", "model"):
        for path in sorted((top / package).rglob("*.py")):
            digest.update(path.relative_to(top).as_posix().encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()[:16]


def shared_key(folder: Path) -> bytes:
    """Return the key that all processes with one data folder share; made by the first.

    Where it cannot be kept, each process has a key of its own and finds only its own answers.

    Parameters
    ----------
    folder : Path
        The data folder.
    """
    path, key = folder / _KEY_FILE, secrets.token_bytes(32)
    part = folder / f"{_KEY_FILE}.{secrets.token_hex(4)}.part"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if not path.exists():
            descriptor = os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
            with os.fdopen(descriptor, "wb") as file:
                file.write(key)
            try:
                os.link(part, path)  # whole or not at all, and the first one stays
            except FileExistsError:
                pass
            finally:
                part.unlink(missing_ok=True)
        kept = path.read_bytes()
    except OSError as error:
        _LOG.warning("the key of the cache cannot be kept (%s)", type(error).__name__)
        return key
    return kept if len(kept) == len(key) else key
