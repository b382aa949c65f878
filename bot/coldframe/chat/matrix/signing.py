"""Cross-signing: the account's own keys sign its device, so that people verify the bot once, by one fingerprint,
whatever device it has; and clients that send no keys to unsigned devices let it read. The seeds are kept sealed."""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from coldframe.chat.matrix.calls import Calls, Json, Refusal, path
from coldframe.chat.matrix.kept import Kept

SEEDS = "signing"
USAGES = ("master", "self_signing", "user_signing")


def _text(raw: bytes) -> str:
    return base64.b64encode(raw).rstrip(b"=").decode()


def canonical(value: Mapping[str, Any]) -> bytes:
    """What is signed of an object: its keys in order, no blanks, without signatures and what the server added."""
    bare = {name: each for name, each in value.items() if name not in ("signatures", "unsigned")}
    return json.dumps(bare, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


class Signer:
    """The three keys of an account."""

    def __init__(self, user: str, seeds: Mapping[str, str]) -> None:
        self.user = user
        self._keys = {name: Ed25519PrivateKey.from_private_bytes(bytes.fromhex(seed)) for name, seed in seeds.items()}

    @classmethod
    def of(cls, user: str, kept: Kept) -> Signer:
        """As they are kept, or made."""
        seeds = kept.get(SEEDS)
        if seeds is None:
            seeds = {name: Ed25519PrivateKey.generate().private_bytes_raw().hex() for name in USAGES}
            kept.put(SEEDS, seeds)
        return cls(user, seeds)

    def public(self, usage: str) -> str:
        return _text(self._keys[usage].public_key().public_bytes_raw())

    @property
    def fingerprint(self) -> str:
        """By which people know the bot: the master key, in fours."""
        key = self.public("master")
        return " ".join(key[at : at + 4] for at in range(0, len(key), 4))

    def signed(self, by: str, value: Json) -> Json:
        name = f"ed25519:{self.public(by)}"
        mine = {**value.get("signatures", {}).get(self.user, {}), name: _text(self._keys[by].sign(canonical(value)))}
        return {**value, "signatures": {self.user: mine}}

    def keys(self) -> Json:
        """As they are published: the two lower ones signed by the first."""
        found: Json = {}
        for usage in USAGES:
            key = self.public(usage)
            made: Json = {"user_id": self.user, "usage": [usage], "keys": {f"ed25519:{key}": key}}
            found[f"{usage}_key"] = made if usage == "master" else self.signed("master", made)
        return found


async def sign_device(calls: Calls, signer: Signer, device: str, password: str) -> bool:
    """Publishes the keys where the server has others or none, and signs the device. False where the account has keys
    that are not ours, and only its password could put ours in their place."""
    known = await calls.post(path("keys", "query"), {"device_keys": {signer.user: []}})
    master = (known.get("master_keys") or {}).get(signer.user, {}).get("keys") or {}
    if f"ed25519:{signer.public('master')}" not in master and not await _published(calls, signer, password):
        return False
    mine = (known.get("device_keys") or {}).get(signer.user, {}).get(device)
    if mine is None:
        return False
    by = f"ed25519:{signer.public('self_signing')}"
    if by not in mine.get("signatures", {}).get(signer.user, {}):
        bare = {name: value for name, value in mine.items() if name != "unsigned"}
        only = {**bare, "signatures": {}}
        body = {signer.user: {device: signer.signed("self_signing", only)}}
        answer = await calls.post(path("keys", "signatures", "upload"), body)
        return not answer.get("failures")
    return True


async def _published(calls: Calls, signer: Signer, password: str) -> bool:
    keys = signer.keys()
    where = path("keys", "device_signing", "upload")
    try:
        await calls.post(where, keys)
    except Refusal as refusal:
        if refusal.status != 401 or not password:
            return False
        who = {"type": "m.id.user", "user": signer.user}
        auth = {"type": "m.login.password", "identifier": who, "password": password}
        try:
            await calls.post(where, {**keys, "auth": {**auth, "session": refusal.body.get("session")}})
        except Refusal:
            return False
    return True
