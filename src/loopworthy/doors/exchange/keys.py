"""The keys of this computer, kept outside every record: one small file for each device that it writes as.

A key lies in the user's own state folder, readable by that user only, so that neither a copied record file, nor a
backup, nor an export can sign in its name. Beside it stands the farthest head that was signed with it; by that a record
is known that was put back from an older copy.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Coroutine, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, Final, TypeVar, cast

import msgspec

from loopworthy.record.signing import HeldKey, device_of
from loopworthy.vocabulary.errors import StoreError, UnknownNameError
from loopworthy.vocabulary.event import SeenHead
from loopworthy.vocabulary.identity import DeviceId, RecordId

_Answer = TypeVar("_Answer")

STATE_VARIABLE: Final = "LOOPWORTHY_STATE"
"""Names the folder in place of the usual one, for example where the home folder does not last."""

_OWNER_ONLY: Final = 0o600


class _KeyFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    record: RecordId
    public_key: str
    private_key: str
    signed: SeenHead | None = None


def state_folder(environment: Mapping[str, str] | None = None) -> Path:
    """Where programs keep what they remember for this user (XDG base directories; on Windows the local folder)."""
    known = os.environ if environment is None else environment
    if named := known.get(STATE_VARIABLE):
        return Path(named)
    if sys.platform == "win32" and (local := known.get("LOCALAPPDATA")):
        return Path(local) / "loopworthy"
    home = known.get("XDG_STATE_HOME") or str(Path.home() / ".local" / "state")
    return Path(home) / "loopworthy"


class KeyFolder:
    """Keys in files; satisfies `record.signing.DeviceKeys`.

    Parameters
    ----------
    folder : Path, optional
        Where; `keys` in the `state_folder` by default.
    """

    def __init__(self, folder: Path | None = None) -> None:
        self.folder = folder if folder is not None else state_folder() / "keys"

    def fresh(self, record: RecordId) -> str:
        """Make a key for a new device in a record; its public half.

        Raises
        ------
        StoreError
            If it cannot be kept. Nothing was made then.
        """
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

        private = Ed25519PrivateKey.generate()
        public_key = private.public_key().public_bytes_raw().hex()
        self._write(
            device_of(record, public_key),
            _KeyFile(record=record, public_key=public_key, private_key=private.private_bytes_raw().hex()),
        )
        return public_key

    def held(self, device: DeviceId) -> HeldKey | None:
        """What is kept for a device; None where its key is not here."""
        found = self._read(device)
        return HeldKey(public_key=found.public_key, signed=found.signed) if found is not None else None

    def signer(self, device: DeviceId) -> KeySigner | None:
        """Signs as that device; None where its key is not here."""
        return KeySigner(self, device) if self._read(device) is not None else None

    def sign_at_once(self, device: DeviceId, message: bytes) -> bytes | None:
        """An Ed25519 signature with the device's key; None where its key is not here."""
        return self.sign(device, message) if self._read(device) is not None else None

    def remember(self, device: DeviceId, head: SeenHead) -> None:
        """Keep that this head is about to leave the computer, if it is farther than the one before."""
        found = self._needed(device)
        if found.signed is None or found.signed.sequence < head.sequence:
            self._write(device, msgspec.structs.replace(found, signed=head))

    def sign(self, device: DeviceId, message: bytes) -> bytes:
        """An Ed25519 signature with the device's key."""
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

        return Ed25519PrivateKey.from_private_bytes(bytes.fromhex(self._needed(device).private_key)).sign(message)

    def public_key(self, device: DeviceId) -> str:
        """The public half of the device's key."""
        return self._needed(device).public_key

    def _needed(self, device: DeviceId) -> _KeyFile:
        found = self._read(device)
        if found is None:
            raise UnknownNameError("key of device", device)
        return found

    def _path(self, device: DeviceId) -> Path:
        return self.folder / f"{device}.json"

    def _read(self, device: DeviceId) -> _KeyFile | None:
        try:
            found = _DECODER.decode(self._path(device).read_bytes())
        except FileNotFoundError:
            return None
        except (OSError, msgspec.MsgspecError) as error:
            raise StoreError(
                f"Cannot read the key of this device in {self.folder.name}: {error}",
                next_step="Give it back to its owner, or take the file away: the record then goes on as a new device",
            ) from error
        # A file under the name of another device would sign what nobody can check.
        return found if device_of(found.record, found.public_key) == device else None

    def _write(self, device: DeviceId, content: _KeyFile) -> None:
        try:
            self.folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(prefix=device, suffix=".part", dir=self.folder)
            part = Path(name)
            try:
                with os.fdopen(handle, "wb") as file:
                    os.chmod(part, _OWNER_ONLY)
                    file.write(msgspec.json.encode(content))
                    file.flush()
                    os.fsync(file.fileno())
                os.replace(part, self._path(device))
                _flush_folder(self.folder)
            finally:
                with suppress(FileNotFoundError):
                    part.unlink()
        except OSError as error:
            raise StoreError(
                f"Cannot keep the key of this device in {self.folder}: {error.strerror or error}",
                next_step=f"Make room or give permission, or name another folder in {STATE_VARIABLE}",
            ) from error


class KeySigner:
    """Signs as one device with its key from a folder; satisfies `record.signing.HeadSigner`."""

    def __init__(self, keys: KeyFolder, device: DeviceId) -> None:
        self._keys = keys
        self._device = device

    @property
    def public_key(self) -> str:
        """64 hexadecimal digits."""
        return self._keys.public_key(self._device)

    async def sign(self, message: bytes) -> bytes:
        """64 bytes."""
        return self._keys.sign(self._device, message)

    async def remember(self, head: SeenHead) -> None:
        """On the disk when this returns."""
        self._keys.remember(self._device, head)


class Verifier:
    """Checks Ed25519 signatures; satisfies `record.signing.HeadVerifier`."""

    async def verify(self, public_key: str, message: bytes, signature: bytes) -> bool:
        """Whether the signature was made with the private half of this key."""
        from cryptography.exceptions import InvalidSignature
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

        try:
            Ed25519PublicKey.from_public_bytes(bytes.fromhex(public_key)).verify(signature, message)
        except (InvalidSignature, ValueError):
            return False
        return True


def at_once(answer: Coroutine[Any, Any, _Answer]) -> _Answer:
    """The result of something asynchronous that never has to wait, as all signing and checking on this computer.

    Raises
    ------
    RuntimeError
        If it did have to wait: then it belongs into an event loop.
    """
    try:
        answer.send(None)
    except StopIteration as done:
        return cast("_Answer", done.value)
    answer.close()
    raise RuntimeError("it had to wait for something")


def _flush_folder(folder: Path) -> None:
    if os.name == "nt":  # Windows opens no folders; there the rename is flushed by the system
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


_DECODER = msgspec.json.Decoder(_KeyFile)
