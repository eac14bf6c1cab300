"""A secret that stands alone in a file, so that only those who need it can read it: the broker's password, a contact's address."""

from __future__ import annotations

import os
import pwd
from pathlib import Path

from monitor.domain.refusal import Refusal


class SecretError(Refusal):
    """A secret that cannot be read: why, and what was expected; never the secret."""


class NotForThisAccount(SecretError):
    """The account that asks may not read it; the daemon's own may, or must be let."""

    def __init__(self, account: str) -> None:
        super().__init__("", f"{account} may not read it", "an account that may; the daemon's must")
        self.account = account


def read_secret(path: Path, expected: str) -> str:
    """The text of a file, without the end of its last line. expected: what should be in it, in words. Raises SecretError."""
    try:
        secret = path.read_text(encoding="utf-8").rstrip("\r\n")
    except PermissionError:
        raise NotForThisAccount(_account()) from None
    except OSError as error:
        raise SecretError("", error.strerror or "cannot be read", expected) from None
    except UnicodeDecodeError:
        raise SecretError("", "not text", expected) from None
    if not secret.strip():
        raise SecretError("", "empty", expected)
    return secret


def _account() -> str:
    """Who asks: the account's name, or its number where it has none."""
    try:
        return pwd.getpwuid(os.geteuid()).pw_name
    except KeyError:
        return f"account {os.geteuid()}"
