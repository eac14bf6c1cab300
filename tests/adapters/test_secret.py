"""Secrets in files of their own: read whole, and when not, said in a few words that hold no secret."""

from __future__ import annotations

from pathlib import Path

import pytest

from monitor.adapters.secret import NotForThisAccount, SecretError, read_secret
from tests.running import another_account


def test_a_secret_is_the_files_one_line(tmp_path: Path) -> None:
    """The end of its line is not part of it, a space is; what cannot be one says why, and what was expected."""
    file = tmp_path / "secret"
    file.write_text("pass word \n")
    assert read_secret(file, "a password") == "pass word "
    for content, reason in ((b"", "empty"), (b" \n", "empty"), (b"\xff\xfe", "not text")):
        file.write_bytes(content)
        with pytest.raises(SecretError, match=f"^{reason}, expected a password$"):
            read_secret(file, "a password")
    with pytest.raises(SecretError, match=r"^Is a directory, expected a password$"):
        read_secret(tmp_path, "a password")
    with pytest.raises(SecretError, match=r"^No such file or directory, expected a password$"):
        read_secret(tmp_path / "none", "a password")


def test_a_secret_of_another_account() -> None:
    """Who may not read it is named, and who must."""
    with another_account() as (account, folder):
        (folder / "secret").write_text("hidden")
        (folder / "secret").chmod(0o000)
        with account, pytest.raises(NotForThisAccount) as raised:
            read_secret(folder / "secret", "a password")
    assert str(raised.value) == f"{account.name} may not read it, expected an account that may; the daemon's must"
