"""A real homeserver on a loopback port: Synapse, in an environment of its own, as it wants other versions than the bot.

`COLDFRAME_SYNAPSE` names that environment's Python; `.ci/run` makes one. Without it these tests are skipped and say so.
"""

from __future__ import annotations

import atexit
import hashlib
import hmac
import json
import os
import socket
import subprocess
import tempfile
import time
import urllib.error
import urllib.request
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

PYTHON = os.environ.get("COLDFRAME_SYNAPSE", "")
SECRET = "registrations of tests"
PASSWORD = "a password of tests"
SERVER = "quillmarsh.test"
A_DAY = timedelta(days=1)
NO_LIMIT = {"per_second": 10_000, "burst_count": 10_000}
LIMITS = {
    "rc_message": NO_LIMIT, "rc_registration": NO_LIMIT, "rc_joins_per_room": NO_LIMIT, "rc_room_creation": NO_LIMIT,
    "rc_login": {"address": NO_LIMIT, "account": NO_LIMIT, "failed_attempts": NO_LIMIT},
    "rc_joins": {"local": NO_LIMIT, "remote": NO_LIMIT},
    "rc_invites": {"per_room": NO_LIMIT, "per_user": NO_LIMIT, "per_issuer": NO_LIMIT},
}  # fmt: skip
AMONG_OTHERS = {
    "federation_verify_certificates": False, "ip_range_blacklist": [],
    "federation": {"destination_min_retry_interval": "1s", "destination_max_retry_interval": "2s"},
}  # fmt: skip
needs_synapse = pytest.mark.skipif(not PYTHON, reason="COLDFRAME_SYNAPSE names no Python with matrix-synapse")


@dataclass(frozen=True)
class Account:
    """Somebody registered, with the device of that."""

    user: str
    device: str
    token: str


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def listener(port: int, what: str, **more: Any) -> dict[str, Any]:
    """One port of a server's own machine for its clients, or for other servers."""
    return {"port": port, "type": "http", "bind_addresses": ["127.0.0.1"], "resources": [{"names": [what]}], **more}


class Homeserver:
    """One Synapse; stopped and started again, it is the same server. One that is `open_to_others` is named by the port
    at which other servers find it, and knows them by certificates of their own making."""

    def __init__(self, folder: Path, *, open_to_others: bool = False, **changed: Any) -> None:
        self.folder = folder
        port, others = free_port(), free_port()
        self.url = f"http://127.0.0.1:{port}"
        self.name = f"127.0.0.1:{others}" if open_to_others else SERVER
        listeners = [listener(port, "client")]
        if open_to_others:
            listeners.append(listener(others, "federation", tls=True))
            changed = {**certified(folder), **AMONG_OTHERS, **changed}
        config = {
            "server_name": self.name, "report_stats": False, "listeners": listeners, "public_baseurl": self.url,
            "database": {"name": "sqlite3", "args": {"database": str(folder / "homeserver.db")}},
            "signing_key_path": str(folder / "signing.key"), "media_store_path": str(folder / "media"),
            "registration_shared_secret": SECRET, "trusted_key_servers": [], "bcrypt_rounds": 4,
            "presence": {"enabled": False}, "user_directory": {"enabled": False}, "enable_search": False,
            **LIMITS, **changed,
        }  # fmt: skip
        (folder / "hs.yaml").write_text(json.dumps(config))
        self._process: subprocess.Popen[bytes] | None = None
        atexit.register(self.stop)

    def start(self) -> None:
        with (self.folder / "log").open("ab") as log:
            self._process = subprocess.Popen(
                [PYTHON, "-m", "synapse.app.homeserver", "-c", "hs.yaml"], cwd=self.folder, stdout=log, stderr=log,
                env={n: v for n, v in os.environ.items() if not n.startswith("PYTHON") and "proxy" not in n.lower()},
            )  # fmt: skip
        for _ in range(600):
            if self._process.poll() is not None:
                raise AssertionError((self.folder / "log").read_text()[-2000:])
            try:
                with urllib.request.urlopen(f"{self.url}/health", timeout=1):
                    return
            except OSError:
                time.sleep(0.05)
        raise AssertionError("the homeserver does not come up")

    def stop(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.terminate()
            process.wait(20)

    def register(self, name: str, *, admin: bool = False) -> Account:
        where = f"{self.url}/_synapse/admin/v1/register"
        with urllib.request.urlopen(where) as answer:
            nonce = json.load(answer)["nonce"]
        words = "\0".join((nonce, name, PASSWORD, "admin" if admin else "notadmin"))
        mac = hmac.new(SECRET.encode(), words.encode(), hashlib.sha1).hexdigest()
        body = {"nonce": nonce, "username": name, "password": PASSWORD, "admin": admin, "mac": mac}
        made = self.call("POST", "/_synapse/admin/v1/register", body)
        return Account(made["user_id"], made["device_id"], made["access_token"])

    def call(self, method: str, path: str, body: Any = None, token: str = "") -> Any:
        """As an administrator, or anybody with a token, does it by hand."""
        headers = {"Content-Type": "application/json"} | ({"Authorization": f"Bearer {token}"} if token else {})
        data = json.dumps(body).encode() if body is not None else None
        request = urllib.request.Request(self.url + path, data, headers, method=method)
        try:
            with urllib.request.urlopen(request, timeout=30) as answer:
                return json.load(answer)
        except urllib.error.HTTPError as refused:
            raise AssertionError(refused.read().decode()) from None


def certified(folder: Path) -> dict[str, Any]:
    """A certificate that nobody has vouched for, good for a day."""
    key, now = ec.generate_private_key(ec.SECP256R1()), datetime.now(UTC)
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "127.0.0.1")])
    made = x509.CertificateBuilder(name, name, key.public_key(), x509.random_serial_number(), now, now + A_DAY)
    pem = serialization.Encoding.PEM
    plain = serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    (folder / "tls.crt").write_bytes(made.sign(key, hashes.SHA256()).public_bytes(pem))
    (folder / "tls.key").write_bytes(key.private_bytes(pem, *plain))
    return {"tls_certificate_path": str(folder / "tls.crt"), "tls_private_key_path": str(folder / "tls.key")}


@cache
def the_server() -> Homeserver:
    """One for all tests of a process that do not stop it."""
    return started()


@cache
def two_servers() -> tuple[Homeserver, Homeserver]:
    """The same of two that are open to each other."""
    return started(open_to_others=True), started(open_to_others=True)


def started(**how: Any) -> Homeserver:
    there = Homeserver(new_folder(), **how)
    there.start()
    return there


def new_folder() -> Path:
    return Path(tempfile.mkdtemp(prefix="homeserver-"))
