"""A seal on what is drawn of a kept log: only a drawing that this user's benchlog made of this very copy is shown."""

import hashlib
import hmac
import os
import secrets
from pathlib import Path

from benchlog.core.files import open_own
from benchlog.core.places import data_folder

_KEY_NAME = "drawings.key"
_BYTES = 32  # of the key, and of the seal: SHA-256
_STEP = 1 << 20


def sealed(name: str, content: bytes) -> bytes | None:
    """The file's bytes: the seal, then the drawing; None where no key can be kept, so that nothing is worth writing.

    Args:
        name: of the file, which holds the hash of the copy that was drawn and of the plan.
        content: the drawing.
    """
    key = _key(make=True)
    return None if key is None else _begun(key, name, content).digest() + content


def unsealed(path: Path) -> bytes | None:
    """The drawing in a file; None where there is none, or its seal does not fit it."""
    key = _key()
    try:
        with open_own(path) as file:
            stored = file.read()
    except OSError:
        return None
    if key is None or not hmac.compare_digest(_begun(key, path.name, stored[_BYTES:]).digest(), stored[:_BYTES]):
        return None
    return stored[_BYTES:]


def is_sealed(path: Path) -> bool:
    """Whether a drawing is the one that was made here; its bytes pass through memory a piece at a time."""
    key = _key()
    if key is None:
        return False
    try:
        with open_own(path) as file:
            told = file.read(_BYTES)
            made = _begun(key, path.name)
            while piece := file.read(_STEP):
                made.update(piece)
    except OSError:
        return False
    return hmac.compare_digest(made.digest(), told)


def _begun(key: bytes, name: str, content: bytes = b"") -> "hmac.HMAC":
    made = hmac.new(key, os.fsencode(name) + b"\0", hashlib.sha256)
    made.update(content)
    return made


def _key(*, make: bool = False) -> bytes | None:
    """The user's own key, from a file that nobody else may read."""
    path = data_folder() / _KEY_NAME
    try:
        if make and not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True)
            part = path.with_name(f".{secrets.token_hex(8)}.part")
            handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with open(handle, "wb") as file:
                file.write(secrets.token_bytes(_BYTES))
            try:
                os.link(part, path)  # whoever is first, all take the same
            except FileExistsError:
                pass
            finally:
                part.unlink()
        with open_own(path) as file:
            key = file.read()
    except OSError:
        return None
    return key if len(key) == _BYTES else None
