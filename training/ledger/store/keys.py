"""The key that signs checkpoints, and the public parts of all that ever did.

``settings.LEDGER_SIGNING_KEY`` holds it: a PEM (PKCS 8, Ed25519; ``\\n`` may stand for a line's end), or the
32 secret bytes in base64. Where it is empty and ``settings.LEDGER_KEY_FILE`` names a file, the key is drawn
once and kept there. It is read when something is signed: an entry can be sealed without it.
"""

import base64
import binascii
import functools
import os
from pathlib import Path

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from joserfc import jws
from joserfc.jwk import OKPKey

from training.ledger import models
from training.ledger.core import statements

HOW_TO_MAKE_ONE = (
    'python3 -c "import secrets, base64; print(base64.b64encode(secrets.token_bytes(32)).decode())"'
)


class NoKey(ImproperlyConfigured):
    """No key signs here, or it cannot be read; the message says how to set one."""


class Signer:
    """A signing key and its id."""

    def __init__(self, secret: Ed25519PrivateKey) -> None:
        pem = secret.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
        raw = secret.public_key().public_bytes(serialization.Encoding.Raw, serialization.PublicFormat.Raw)
        self._key = OKPKey.import_key(pem)
        self.public = statements.to_base64url(raw)
        self.kid = statements.thumbprint(self.public)

    def sign(self, statement: bytes) -> str:
        """The statement as a compact JWS."""
        header = {"alg": "Ed25519", "kid": self.kid}
        return jws.serialize_compact(header, statement, self._key, algorithms=["Ed25519"])


def signer() -> Signer:
    """The key of this installation. ``ImproperlyConfigured`` where there is none or it cannot be read."""
    text = settings.LEDGER_SIGNING_KEY.strip()
    if text:
        return _signer(text, "LEDGER_SIGNING_KEY")
    if settings.LEDGER_KEY_FILE is None:
        raise NoKey(
            "LEDGER_SIGNING_KEY is not set: the ledger's checkpoints cannot be signed. "
            f"Create a key once and store it, the same for every process: {HOW_TO_MAKE_ONE}"
        )
    return _signer(_kept(Path(settings.LEDGER_KEY_FILE)), str(settings.LEDGER_KEY_FILE))


@functools.lru_cache(maxsize=4)
def _signer(text: str, where: str) -> Signer:
    wrong = NoKey(
        f"{where} is no Ed25519 key: give a PEM (BEGIN PRIVATE KEY, not encrypted) or 32 bytes in base64. "
        f"Make one: {HOW_TO_MAKE_ONE}"
    )
    if "BEGIN" in text:
        try:
            pem = text.replace("\\n", "\n").encode()
            secret = serialization.load_pem_private_key(pem, password=None)
        except (ValueError, TypeError, UnsupportedAlgorithm):
            raise wrong from None
        if not isinstance(secret, Ed25519PrivateKey):
            raise wrong
        return Signer(secret)
    try:
        raw = base64.b64decode(
            text.replace("-", "+").replace("_", "/") + "=" * (-len(text) % 4), validate=True
        )
    except (binascii.Error, ValueError):
        raise wrong from None
    if len(raw) != 32:
        raise wrong
    return Signer(Ed25519PrivateKey.from_private_bytes(raw))


def _kept(path: Path) -> str:
    """The key in the file; drawn first where there is no file, readable by its owner alone."""
    try:
        if not path.exists():
            draft = path.with_name(f"{path.name}.{os.getpid()}")
            descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(descriptor, "wb") as out:
                out.write(
                    Ed25519PrivateKey.generate().private_bytes(
                        serialization.Encoding.PEM,
                        serialization.PrivateFormat.PKCS8,
                        serialization.NoEncryption(),
                    )
                )
                out.flush()
                os.fsync(out.fileno())  # a key that signed and was then lost would look like a forger's
            try:
                os.link(draft, path)  # fails where another process was quicker: its key is the key
            except FileExistsError:
                pass
            finally:
                draft.unlink()
        return path.read_text()
    except (OSError, UnicodeDecodeError) as fault:
        raise NoKey(
            f"The ledger's key in {path} cannot be stored or read ({fault}). "
            "Set LEDGER_SIGNING_KEY, or name another folder in DATA_DIR."
        ) from fault


def register(key: Signer, at: str) -> None:
    """Keep the public part, so that what the key signs can be checked when another has taken its place."""
    kept = models.LedgerKey.objects
    if not kept.filter(kid=key.kid).exists():
        kept.bulk_create([models.LedgerKey(kid=key.kid, public=key.public, at=at)], ignore_conflicts=True)


def known() -> dict[str, str]:
    """The public parts of all keys that signed here, by key id."""
    return dict(models.LedgerKey.objects.values_list("kid", "public"))
