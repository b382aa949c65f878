"""What stands in deploy/ fits the bot: its settings, its words, its ports. The unit is verified by systemd itself."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from click.testing import CliRunner

from coldframe.cli import VERBS, State, coldframe
from coldframe.config import KNOWN_BESIDES, Settings, load
from coldframe.watch.meter import Meter
from coldframe.watch.service import Eyes, routes

DEPLOY = Path(__file__).resolve().parents[2] / "deploy"
UNITS = ["coldframe.service", "coldframe-backup.service", "coldframe-backup.timer"]
FILES = [
    "Containerfile",
    "compose.yaml",
    "cluster/coldframe.yaml",
    "coldframe.service",
    "coldframe.env",
]
NAMES = {f"COLDFRAME_{name.upper()}" for name in Settings.model_fields}


def text(name: str) -> str:
    return (DEPLOY / name).read_text(encoding="utf-8")


def values(thing: Any) -> Iterator[Any]:
    """All plain values in a document."""
    if isinstance(thing, dict | list):
        for inner in thing.values() if isinstance(thing, dict) else thing:
            yield from values(inner)
    else:
        yield thing


def test_the_environment_file_is_what_the_command_prints() -> None:
    """So every setting stands in it, explained."""
    printed = CliRunner().invoke(coldframe, ["settings"], obj=State()).output
    assert printed == text("coldframe.env")
    assert set(re.findall(r"^#(COLDFRAME_[A-Z_]+)=", printed, re.MULTILINE)) == NAMES


def test_its_defaults_are_the_settings_own() -> None:
    """Each line, its sign taken away, can be read and changes nothing."""
    lines = re.findall(r"^#(COLDFRAME_[A-Z_]+)=(.+)$", text("coldframe.env"), re.MULTILINE)
    assert len(lines) > 4
    assert load(dict(lines)) == load({})


@pytest.mark.parametrize("name", FILES)
def test_only_settings_that_exist_are_set(name: str) -> None:
    """Also those that name a file of a secret."""
    found = {one.removesuffix("_FILE") for one in re.findall(r"\bCOLDFRAME_[A-Z_]+\b", text(name))}
    assert found and found <= NAMES | KNOWN_BESIDES


def test_probes_ask_for_addresses_that_there_are() -> None:
    """On the port that the image sets."""
    there = {route.path for route in routes(Eyes(*[None] * 5), Meter(dict))}  # type: ignore[list-item]
    documents = list(yaml.safe_load_all(text("cluster/coldframe.yaml")))
    asked = {
        value for document in documents for value in values(document) if str(value).endswith("z") and "/" in str(value)
    }
    assert asked == {"/healthz", "/readyz"} <= there
    port = re.search(r"COLDFRAME_WATCH_PORT=(\d+)", text("Containerfile"))
    assert port is not None and f"containerPort: {port[1]}" in text("cluster/coldframe.yaml")
    assert f":{port[1]}/healthz" in text("Containerfile")


def test_what_is_run_are_verbs_of_the_bot() -> None:
    compose = yaml.safe_load(text("compose.yaml"))
    deployment = next(d for d in yaml.safe_load_all(text("cluster/coldframe.yaml")) if d["kind"] == "Deployment")
    unit = re.search(r"^ExecStart=\S+/coldframe (\w+)", text("coldframe.service"), re.MULTILINE)
    assert unit is not None
    container = deployment["spec"]["template"]["spec"]["containers"][0]
    assert {compose["services"]["bot"]["command"][0], container["args"][0], unit[1]} <= set(VERBS)


@pytest.mark.parametrize("name", ["Containerfile", "RUNNING.md"])
def test_of_the_lock_nothing_but_the_lock_is_installed(name: str) -> None:
    """Its packages name others that they do without here: asked for these, pip refuses the lock."""
    installed = [line for line in text(name).splitlines() if "-r deploy/requirements.lock" in line]
    assert installed and all("--no-deps" in line and "--require-hashes" in line for line in installed)


def test_no_secret_is_written_down_and_each_is_brought() -> None:
    """By reference to a file or a secret of the cluster, all that a start in that mode needs."""
    compose = yaml.safe_load(text("compose.yaml"))["services"]["bot"]
    assert all(value.startswith("/run/secrets/") for value in compose["environment"].values())
    assert {Path(value).name for value in compose["environment"].values()} == set(compose["secrets"])
    deployment = next(d for d in yaml.safe_load_all(text("cluster/coldframe.yaml")) if d["kind"] == "Deployment")
    environment = deployment["spec"]["template"]["spec"]["containers"][0]["env"]
    assert all("value" not in one and one["valueFrom"]["secretKeyRef"]["name"] == "coldframe" for one in environment)


def test_nobody_is_root_and_nothing_is_written_elsewhere() -> None:
    compose = yaml.safe_load(text("compose.yaml"))["services"]["bot"]
    assert compose["read_only"] and compose["cap_drop"] == ["ALL"]
    assert re.search(r"^USER 10001", text("Containerfile"), re.MULTILINE)
    deployment = next(d for d in yaml.safe_load_all(text("cluster/coldframe.yaml")) if d["kind"] == "Deployment")
    pod = deployment["spec"]["template"]["spec"]
    assert pod["securityContext"]["runAsNonRoot"] and pod["containers"][0]["securityContext"]["readOnlyRootFilesystem"]


def test_the_compose_file_is_one_by_the_specification() -> None:
    """Strictly: an unknown word, a secret that nobody declares, or a span that is none would be told."""
    compose = pytest.importorskip("compose_spec").PyCompose
    read = compose.from_yaml(text("compose.yaml"))
    read.validate()
    assert read.service_names() == ["bot", "database"]
    for right, wrong in (("read_only:", "readonly:"), ("[database, secret", "[databases, secret"), (": 20s", ": soon")):
        with pytest.raises(ValueError):
            compose.from_yaml(text("compose.yaml").replace(right, wrong)).validate()


KUBERNETES = os.environ.get("COLDFRAME_KUBERNETES", "")


@pytest.mark.skipif(
    not KUBERNETES, reason="COLDFRAME_KUBERNETES names no Python with the schemas of a cluster (.ci/run)"
)
@pytest.mark.parametrize("version", ["1.29", "1.33", "1.36"])
def test_the_manifests_are_as_a_cluster_takes_them(version: str) -> None:
    """By the cluster's own schemas, in which an unknown word is a mistake. They are large, so they stand apart."""
    check = (
        "import sys, yaml, kubernetes_validate as k; documents = list(yaml.safe_load_all(sys.stdin));"
        "assert [d['kind'] for d in documents] == ['Deployment', 'Service', 'PodDisruptionBudget'];"
        f"[k.validate(d, {version!r}, strict=True) for d in documents]"
    )
    for manifests, status in ((text("cluster/coldframe.yaml"), 0), (_misspelt(), 1)):
        done = subprocess.run([KUBERNETES, "-c", check], input=manifests, capture_output=True, text=True)
        assert done.returncode == status, done.stderr


def _misspelt() -> str:
    return text("cluster/coldframe.yaml").replace("readinessProbe:", "readynessProbe:")


def test_what_the_image_sets_and_what_compose_sets_can_be_set_together(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A secret of a file is read, and nothing is set twice."""
    of_image = dict(re.findall(r"(COLDFRAME_[A-Z_]+)=(\S+)", text("Containerfile")))
    given = yaml.safe_load(text("compose.yaml"))["services"]["bot"]["environment"]
    values = {"database": "postgresql+asyncpg://coldframe:x@database/coldframe", "secret": "a passphrase for tests"}
    for name in given.values():
        (tmp_path / Path(name).name).write_text(values.get(Path(name).name, "xoxb-1"), encoding="utf-8")
    settings = load({**of_image, **{name: str(tmp_path / Path(file).name) for name, file in given.items()}})
    assert settings.database == values["database"] and settings.watch_port == 9464


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="there is no systemd on this machine")
@pytest.mark.parametrize("name", UNITS)
def test_systemd_takes_the_unit(tmp_path: Path, name: str) -> None:
    """With a program that is there; an unknown word in it would be told."""
    for each in UNITS:
        unit = re.sub(r"^ExecStart=\S+", "ExecStart=/bin/true", text(each), flags=re.MULTILINE)
        (tmp_path / each).write_text(unit)
    command = ["systemd-analyze", "verify", "--man=no", str(tmp_path / name)]
    done = subprocess.run(command, capture_output=True, text=True)
    assert (done.returncode, done.stdout + done.stderr) == (0, "")
