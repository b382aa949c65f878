"""The steps of deploy/Containerfile done in a folder, where no engine is at hand: its own lines, read and carried out.

    python -m tests.image FOLDER      then FOLDER/image is what the image would hold, and FOLDER/build its first stage

What an image has by its base comes from here: Python, pip and a shell. Absolute paths of the image lie below the
folder, and whoever does it needs no right but to write there: a user is not made, and files are their own. What the
first stage fetches needs network; with `libraries`, a folder of the very packages stands in for the fetching.
"""

from __future__ import annotations

import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

TOP = Path(__file__).resolve().parents[1]
CONTAINERFILE = TOP / "deploy" / "Containerfile"
OF_THE_IMAGE = re.compile(r"(?<![\w./:-])/(?=(?:opt|source|wheel|data|tmp)\b)")
"""Where paths begin that lie below the folder."""


def instructions(text: str) -> Iterator[tuple[str, str]]:
    """Each with its words, lines joined, as an engine reads them."""
    whole = re.sub(r"\\\n", " ", re.sub(r"^\s*#.*\n", "", text, flags=re.MULTILINE))
    for line in filter(None, map(str.strip, whole.splitlines())):
        name, _, words = line.partition(" ")
        yield name.upper(), words.strip()


@dataclass
class Image:
    """As far as it is made. `settings`: what ENV set; `says`: what stands there for whoever starts it."""

    folder: Path
    libraries: Path | None = None
    python: Path = Path(sys.executable)
    settings: dict[str, str] = field(default_factory=dict)
    says: dict[str, str] = field(default_factory=dict)
    where: str = "/"
    stages: list[str] = field(default_factory=list)

    @property
    def root(self) -> Path:
        return self.folder / "image"

    def made(self) -> Image:
        for name, words in instructions(CONTAINERFILE.read_text(encoding="utf-8")):
            step = getattr(self, f"_{name.lower()}", None)
            if step is None:
                self.says[name] = words
            else:
                step(words)
        return self

    def below(self, text: str) -> str:
        """With the image's own paths where they lie here."""
        return OF_THE_IMAGE.sub(lambda _: f"{self.root}/", text)

    def environment(self, **more: str) -> dict[str, str]:
        """That of a process in it: what is set there and nothing of here."""
        path = os.pathsep.join((str(self.root / "opt/coldframe/bin"), os.defpath))
        return {"LANG": "C.UTF-8", **self.settings, "PATH": path, "HOME": str(self.root / "data"), **more}

    def words(self, name: str) -> list[str]:
        """Of an instruction that says a command."""
        said = json.loads(re.sub(r"^.*?CMD ", "", self.says[name]))
        return [self.below(str(word)) for word in said]

    # --- its instructions -----------------------------------------------------------------------------------------

    def _from(self, words: str) -> None:
        """The stage before is put aside, so that each finds its paths at the same place."""
        if self.stages:
            self.root.rename(self.folder / self.stages[-1])
        self.stages.append(words.partition(" AS ")[2].strip() or "image")
        self.settings, self.where = {}, "/"
        for name in ("opt", "tmp", "bin"):
            (self.root / name).mkdir(parents=True)
        self._base()

    def _base(self) -> None:
        """What the base image has, and what only root may do."""
        python = shlex.quote(str(self.python))
        with_pip = f"PYTHONPATH={shlex.quote(str(self.libraries))} " if self.libraries else ""
        scripts = {"python": f'exec {python} "$@"', "pip": f'{with_pip}exec {python} -m pip "$@"', **BY_ROOT}
        for name, script in scripts.items():
            file = self.root / "bin" / name
            file.write_text(f"#!/bin/sh\n{script}\n", encoding="utf-8")
            file.chmod(0o755)

    def _workdir(self, words: str) -> None:
        self.where = words
        Path(self.below(words)).mkdir(parents=True, exist_ok=True)

    def _env(self, words: str) -> None:
        for word in shlex.split(words):
            name, _, value = word.partition("=")
            self.settings[name] = self.below(value)

    def _copy(self, words: str) -> None:
        *sources, target = shlex.split(words)
        stage = sources.pop(0).removeprefix("--from=") if sources[0].startswith("--from=") else None
        into = Path(self.below(target)) if target.startswith("/") else Path(self.below(self.where)) / target
        for source in sources:
            if stage is None:
                _context(source, into)
            else:
                shutil.copytree(self.folder / stage / source.lstrip("/"), into, symlinks=True, dirs_exist_ok=True)

    def _run(self, words: str) -> None:
        path = os.pathsep.join((str(self.root / "bin"), os.defpath))
        own = ("PIP_", "LD_", "http", "no_proxy")
        environment = {name: value for name, value in os.environ.items() if name.startswith(own)}
        environment |= {"HOME": str(self.folder), **self.settings, "PATH": path}
        done = subprocess.run(
            ["sh", "-ec", self._from_here(self.below(words))], cwd=self.below(self.where), env=environment,
            capture_output=True, text=True,
        )  # fmt: skip
        if done.returncode:
            raise SystemExit(f"RUN {words}\n{done.stdout}{done.stderr}")

    def _from_here(self, words: str) -> str:
        """Without the network what is fetched is linked, and what builds the wheel is taken from here. The linked
        folder is no path of the image, even where it begins like one."""
        if self.libraries is None:
            return words
        if "--require-hashes" in words:
            assert "-r deploy/requirements.lock" in words
            link = (
                f"import site; open(site.getsitepackages()[0] + '/libraries.pth', 'w').write({str(self.libraries)!r})"
            )
            return f"{self.below('/opt/coldframe/bin/python')} -c {shlex.quote(link)}"
        return words.replace("pip wheel ", "pip wheel --no-build-isolation --no-index ")


BY_ROOT: Mapping[str, str] = {
    "groupadd": "exit 0",
    "useradd": "exit 0",
    "install": 'for word; do last=$word; done; mkdir -p "$last" && chmod 0700 "$last"',
}
"""Nobody but root makes users and gives folders to them."""


def _context(source: str, into: Path) -> None:
    """What of the project an engine is given: what .dockerignore lets through."""
    let = [line[1:] for line in (TOP / ".dockerignore").read_text("utf-8").splitlines() if line.startswith("!")]
    for name in let if source == "." else [source]:
        assert any(name == one or name.startswith(f"{one}/") for one in let), f"{name} is not let through"
        target = into / (name if source == "." else Path(name).name)
        if (TOP / name).is_dir():
            shutil.copytree(TOP / name, target, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(TOP / name, target)


if __name__ == "__main__":
    place = Path(sys.argv[1]).absolute()
    place.mkdir(parents=True, exist_ok=True)
    image = Image(place).made()
    print(f"{image.root}: started by {' '.join(image.words('ENTRYPOINT') + image.words('CMD'))}")
