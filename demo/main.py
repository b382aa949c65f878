"""`python3 demo`: reads the options, plays the scenario, leaves the pictures and files."""

from __future__ import annotations

import asyncio
import hashlib
import json
import shutil
import sys
from pathlib import Path
from typing import NoReturn

import click

from coldframe import memory

HERE = Path(__file__).parent
DEFAULT = HERE / "scenarios" / "quillmarsh.yaml"


@click.command()
@click.option("--scenario", "path", type=click.Path(path_type=Path), default=DEFAULT, help="A round described in YAML.")
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), default=HERE / "output", show_default="demo/output"
)
@click.option("--seed", type=click.IntRange(0), default=None, help="Another seed for everything left to chance.")
@click.option("--resume", is_flag=True, help="Go on where a run that was stopped or killed had come to.")
@click.option("--room", is_flag=True, help="Open the same bot in a browser and take part by hand.")
@click.option("--schema", is_flag=True, help="Print the form of a scenario as JSON Schema.")
@click.option("--quiet", is_flag=True, help="Do not print the conversation.")
def command(path: Path, out: Path, seed: int | None, resume: bool, room: bool, schema: bool, quiet: bool) -> None:
    """Plays a whole round of an invented team: eight people in four time zones, weeks in seconds."""
    from coldframe.cli import not_beside
    from coldframe.players.scenario import Scenario, WrongScenario, load

    if schema:
        not_beside("is not for --schema, which plays nothing", "path", "out", "seed", "resume", "room", "quiet")
        click.echo(json.dumps(Scenario.model_json_schema(), indent=2, ensure_ascii=False))
        return
    if room:
        not_beside("is for a play that goes by itself, not for --room", "out", "resume", "quiet")
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        _stop(f"{path}: cannot be read ({getattr(error, 'strerror', None) or 'no UTF-8 text'})")
    try:
        scenario = load(text)
    except WrongScenario as wrong:
        _stop("\n".join(f"{path.name}, {problem}" for problem in wrong.problems))
    if seed is not None:
        scenario = scenario.model_copy(update={"seed": seed})
    if room:
        from demo.rehearse import rehearse

        rehearse(scenario)
        return
    asyncio.run(_play(scenario, out, resume=resume, quiet=quiet))


def _stop(words: str) -> NoReturn:
    click.echo(words, err=True)
    sys.exit(2)


def _folder(out: Path, scenario: str, *, resume: bool) -> Path:
    """Makes the folder for a run's files, or finds what is to be resumed; never clears what no demo has left."""
    state = out / "state"
    mark = state / "scenario"
    if not resume and out.is_dir() and any(out.iterdir()) and not (state / "room.db").exists():
        _stop(f"{out}: holds files that no demo has left; choose an empty or a new folder for --out")
    if resume and mark.exists() and mark.read_text(encoding="utf-8") != scenario:
        _stop(f"{out}: holds the run of another scenario or seed; resume that one, or leave --resume out")
    try:
        if not resume:
            shutil.rmtree(out, ignore_errors=True)
        state.mkdir(parents=True, exist_ok=True)
        mark.write_text(scenario, encoding="utf-8")
    except OSError as error:
        _stop(f"{out}: cannot be written ({error.strerror})")
    return state


async def _play(scenario: object, out: Path, *, resume: bool, quiet: bool) -> None:
    from coldframe import logs
    from coldframe.clock import SeededIds
    from coldframe.players.scenario import Scenario
    from coldframe.wiring import room_house
    from demo.leave import leave_files
    from demo.play import Memory, Play, clock_of
    from demo.transcript import Printer, Progress, Transcript

    assert isinstance(scenario, Scenario)
    logs.configure(level="warning")  # what is printed is the conversation
    state = _folder(out, hashlib.sha256(scenario.model_dump_json().encode()).hexdigest(), resume=resume)
    clock = clock_of(scenario)
    async with room_house(
        clock,
        database=f"sqlite:///{state / 'bot.db'}",
        room_file=str(state / "room.db"),
        secret=b"an open secret: nothing in a demo is private",
        ids=SeededIds(scenario.seed),
    ) as house:
        transcript = Transcript(scenario)
        printer = Printer(transcript, click.echo, colour=sys.stdout.isatty())
        unseen = quiet or not sys.stdout.isatty()
        progress = Progress(clock, shown=sys.stderr.isatty() and unseen)
        memory = Memory(state / "play.txt")
        play = Play(scenario, house, clock, memory=memory)
        last, revision = "", 0
        if resume:
            last = max((r.id for r in house.room.all_messages()), default="")

        def watch() -> None:
            nonlocal last, revision
            progress.update()
            if quiet:
                return
            changed = house.room.log.messages(above=revision)
            revision = max((r.revision for r in changed), default=revision)
            new = [r for r in changed if r.id > last]
            last = max((r.id for r in new), default=last)
            printer.show(new)

        play.watch = watch
        click.echo(
            f"{scenario.title}\nA simulated clock, from {clock.now():%a %-d %b %Y}; everything else is the real bot.\n"
        )
        round_ = await play.run()
        watch()
        progress.close()
        memory.close()
        left = leave_files(house, transcript, scenario, round_, play, out)
    click.echo(_ending(play.refused, round_))
    click.echo("\nLeft in " + str(out) + ":\n" + "\n".join(f"  {name}" for name in left))


def _ending(refused: str, round_: object) -> str:
    from coldframe.domain.state import Round
    from coldframe.message.nodes import plain
    from coldframe.speech.names import NO_REASON
    from coldframe.speech.wanting_words import why_rests

    if refused:
        return f"The round did not start: {refused}"
    assert isinstance(round_, Round)
    if round_.paused is not None:
        return f"The round rests at {round_.step}: {plain(why_rests(round_))}."
    words = {
        "committed": "The round ended with a commitment.",
        "cancelled": f"The round was cancelled: {round_.ended_because or NO_REASON}.",
    }
    return words.get(round_.step.value, f"The round stands at {round_.step}.")


def main(arguments: list[str]) -> int:
    """Runs the command; returns the exit status."""
    memory.look_seldom()
    try:
        command.main(arguments, prog_name="python3 demo", standalone_mode=False)
    except click.ClickException as error:
        error.show()
        return 2
    except click.Abort:
        click.echo("\nStopped. `python3 demo --resume` goes on from here.", err=True)
        return 130
    except SystemExit as stop:
        return int(stop.code or 0)
    return 0
