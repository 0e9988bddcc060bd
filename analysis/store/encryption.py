"""How is a backup kept from everybody who has not its key?

The file is encrypted by age, an open format (age-encryption.org/v1), to the key in a key file. Only
who has that file can read such a backup, and only who has it can have made one.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from analysis.errors import UserError
from analysis.files import write_whole
from analysis.store.faults import StoreError
from analysis.unfinished import temporary_folder

START = b"age-encryption.org/v1\n"
"""First bytes of an encrypted file. *Source:* age specification, section "Header"."""


def is_encrypted(path: Path) -> bool:
    """Whether a file is encrypted; one that can't be read is not."""
    with contextlib.suppress(OSError), path.open("rb") as file:
        return file.read(len(START)) == START
    return False


@contextlib.contextmanager
def encrypting(path: Path, key_file: Path | None) -> Iterator[Path]:
    """A path to write to: the file itself, or one that is encrypted to it at the end.

    The key file is made where there is none.
    """
    if key_file is None:
        yield path
        return
    if path.exists():
        raise StoreError(f"{path} is there already. Name a new file for the backup.")
    age, key = _age(), _key(key_file, make=True)
    with temporary_folder() as folder:
        yield folder / "plain"
        age.encrypt_file(str(folder / "plain"), str(folder / "encrypted"), [key.to_public()])
        with (folder / "encrypted").open("rb") as encrypted:
            write_whole(path, encrypted.read())


@contextlib.contextmanager
def decrypted(path: Path, key_file: Path | None) -> Iterator[Path]:
    """The path of a file in plain, decrypted if there is a key.

    Raises
    ------
    StoreError
        It is encrypted and there is no key, or not by this key, or there is a key and it is not.
    """
    if key_file is None:
        if is_encrypted(path):
            raise StoreError(f"The backup {path} is encrypted. Name its key file in --key-file.")
        yield path
        return
    age, key = _age(), _key(key_file, make=False)
    if path.is_file() and not is_encrypted(path):
        raise StoreError(
            f"The backup {path} is not encrypted, so anybody may have made it. To restore it all "
            "the same, leave out --key-file."
        )
    with temporary_folder() as folder:
        plain = folder / "plain"
        try:
            age.decrypt_file(str(path), str(plain), [key])
        except FileNotFoundError:
            raise StoreError(f"The backup {path} can't be read: there is no such file.") from None
        except (age.DecryptError, OSError):  # it reports a changed byte as a fault of reading
            raise StoreError(
                f"The backup {path} was not encrypted with the key in {key_file}, or it is "
                "damaged; nothing was restored."
            ) from None
        yield plain


def _age() -> Any:
    try:
        import pyrage  # an extra, asked for only where it is needed
    except ImportError:
        raise StoreError(
            "An encrypted backup needs the extra 'encryption', which isn't installed. Install it "
            "with: pip install 'linedays[encryption]'"
        ) from None
    return pyrage


def _key(path: Path, *, make: bool) -> Any:
    age = _age()
    if make and not path.exists():
        write_whole(path, f"{age.x25519.Identity.generate()}\n")
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
        (text,) = [line for line in lines if line.strip() and not line.startswith("#")]
        return age.x25519.Identity.from_str(text.strip())
    except (OSError, ValueError, UserError, age.IdentityError):
        raise StoreError(
            f"{path} holds no key of an encrypted backup, or can't be read. Name the file that "
            "'linedays backup --key-file' made."
        ) from None
