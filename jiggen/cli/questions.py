"""The questions that ``jiggen new`` asks, and what their answers make of a draft."""

import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import typer

from jiggen.cli.new import BOOT, DEPTH, DRILL, METAL, NAME, PAIR, UNITS, Given
from jiggen.errors import Finding, InputError
from jiggen.options import Option
from jiggen.pattern.model import Group
from jiggen.pattern.write import (
    USUAL_DRILL,
    Draft,
    add_holes,
    measure,
    read_datum,
    read_group,
    read_hole,
    read_point,
    read_shift,
)
from jiggen.request.reading import Reading
from jiggen.units import length_range

Read = Callable[[Draft, str], Draft]

WELCOME = (
    "A new pattern: have the plate's mounting sheet at hand, or the plate and a caliper.\n"
    "Enter takes what stands in brackets. Ctrl-C stops, and nothing is written.\n"
)
DATUM = (
    "What does it move with: boot-toe, boot-heel, or boot-centre for holes that stay where they "
    "are on the ski"
)
SHIFT = (
    "How far from there is the point you measure its holes from, + towards the tip "
    "(in steps: boot:shift, boot:shift)"
)


@dataclass(frozen=True)
class Question:
    """One thing to know of a pattern: by its option, or asked for in the words of its help.

    `usual` is offered as the answer; `default` is used when nothing is asked, None where it must
    be given.  `read` puts an answer into a draft.  Raises InputError.
    """

    row: Option
    usual: str | None
    default: str | None
    read: Read


def _boot(draft: Draft, words: str) -> Draft:
    given = words.strip()
    unit = draft.units if given[-1:].isdigit() else ""
    return replace(draft, boot=length_range(f"{given}{unit}") if given else None)


def _drill(draft: Draft, words: str, size: str) -> Draft:
    as_plain = size == "metal" and not words.strip()
    found: Any = draft.drill.plain if as_plain else measure(words, draft.units)
    return replace(draft, drill=replace(draft.drill, **{size: found}))


QUESTIONS = (
    Question(NAME, None, None, lambda draft, words: replace(draft, name=words.strip())),
    Question(UNITS, "mm", "mm", lambda draft, words: replace(draft, units=UNITS.read(words))),
    Question(BOOT, "", "", _boot),
    Question(PAIR, "same", "same", lambda draft, words: replace(draft, pair=PAIR.read(words))),
    Question(DRILL, "3.6mm", None, partial(_drill, size="plain")),
    Question(METAL, "4.1mm", "", partial(_drill, size="metal")),
    Question(DEPTH, None, None, partial(_drill, size="depth")),
)


def _checked(draft: Draft, words: str, read: Read) -> Draft:
    """The draft with an answer in it.  Raises InputError for all that is wrong with it."""
    found = read(draft, words)
    if faults := found.faults():
        raise InputError(_as_option(fault) for fault in faults)
    return found


def _as_option(fault: Finding) -> Finding:
    """A fault that a word in the pattern allows, with the option that writes it."""
    if fault.code != "pattern.unusual":
        return fault
    return replace(fault, hint="Where it is meant, for threaded inserts say, give --unusual.")


def ask(draft: Draft, words: str, read: Read, usual: str | None = None, option: str = "") -> Draft:
    """The draft with an answer asked for until there is nothing wrong with it.

    Raises InputError ``cli.unanswered`` where the input ends before the answer; at a terminal
    its end is a wish to stop.
    """

    def checked(given: str) -> Draft:
        try:
            return _checked(draft, given, read)
        except InputError as error:
            texts = (f"{fault.message}. {fault.hint}" for fault in error.findings)
            lines = (text.replace("..", ".").strip() for text in texts)
            raise typer.BadParameter("\n".join(lines)) from error

    try:
        found: Draft = typer.prompt(words, usual, value_proc=checked, show_default=bool(usual))
    except typer.Abort:
        if sys.stdin.isatty():
            raise
        hint = "Answer at a terminal, or give options: jiggen new --help."
        message = f"no answer to: {words}"
        raise InputError.of("cli.unanswered", message, key=option, hint=hint) from None
    return found


def _with(draft: Draft, **changes: Any) -> Draft:
    """The draft with its last group changed."""
    *before, last = draft.groups
    return replace(draft, groups=(*before, replace(last, **changes)))


def _with_shift(draft: Draft, words: str) -> Draft:
    shift, steps = read_shift(words, draft.units)
    return _with(draft, shift=shift, steps=steps)


def _with_point(draft: Draft, words: str) -> Draft:
    return replace(draft, points=(*draft.points, read_point(words, draft.units)))


def _with_mark(draft: Draft, words: str) -> Draft:
    return replace(draft, mark=words.strip())


def _with_datum(draft: Draft, words: str) -> Draft:
    return _with(draft, datum=read_datum(words.strip(), dict(draft.points)))


def make_draft(given: Given, groups: list[str], holes: list[str], reading: Reading) -> Draft:
    """The draft that the options say; without `holes`, what they do not say is asked."""
    if groups and not holes:
        hint = "Give each of its holes with --hole, or let yourself be asked for both."
        message = "a group without --hole has no holes"
        reading.faults.append(Finding("cli.missing", message, key="--group", hint=hint))
    if not holes:
        reading.end()  # before anyone answers twenty questions
        typer.echo(WELCOME)
    draft = Draft(drill=replace(USUAL_DRILL, unusual=given.unusual))
    for question in QUESTIONS:
        row = question.row
        asked = row.help.partition(";")[0].rstrip(".")
        words = vars(given)[row.name]
        if words is None and holes:
            words = question.default
        if words is not None:
            read = partial(_checked, draft, words, question.read)
            draft = reading.read(read, draft, row.flag)
            if not holes:
                reading.end()
        elif holes:
            message = "is missing: with --hole given, nothing is asked"
            hint = f"It is the {asked[0].lower()}{asked[1:]}."
            reading.faults.append(Finding("cli.missing", message, key=row.flag, hint=hint))
        else:
            draft = ask(draft, asked, question.read, question.usual, row.flag)
    for words in given.point or ():
        draft = reading.read(partial(_checked, draft, words, _with_point), draft, "--point")
    if given.mark:
        draft = reading.read(partial(_checked, draft, given.mark, _with_mark), draft, "--mark")
    if not holes:
        reading.end()
        return _ask_groups(draft)
    points = dict(draft.points)
    named = [
        reading.read(partial(read_group, words, draft.units, points), None, "--group")
        for words in groups
    ]
    sound = tuple(group for group in named if group)
    if len(sound) == len(groups):
        fill = partial(add_holes, sound, holes, draft.units)
        draft = replace(draft, groups=reading.read(fill, sound, "--hole"))
    if not reading.faults:
        reading.faults += draft.faults(finished=True)
    return draft


def _ask_groups(draft: Draft) -> Draft:
    """The draft with the groups and holes that are asked for."""
    typer.echo()
    nth = len(draft.groups)
    usual = ("toe", "heel")[nth] if nth < 2 else None

    def begin(draft: Draft, words: str) -> Draft:
        group = Group(words.strip(), "boot-centre", 0.0, (), ())
        return replace(draft, groups=(*draft.groups, group))

    def one_more(draft: Draft, words: str) -> Draft:
        if not words.strip():
            return draft
        return _with(draft, holes=(*draft.groups[-1].holes, read_hole(words, draft.units)))

    draft = ask(draft, "Name of the group, of which its holes' names are made", begin, usual)
    draft = ask(draft, ", or ".join((DATUM, *dict(draft.points))), _with_datum)
    draft = ask(draft, SHIFT, _with_shift, "0")
    typer.echo("Its holes: x to the tip, y to the left, from there; both for one on each side.")
    before = None
    while draft is not before:
        before, count = draft, len(draft.groups[-1].holes)
        words = f"Hole {count + 1}{' (Enter: no more)' if count else ', as 12, 21, both'}"
        draft = ask(draft, words, one_more, "" if count else None)
    more = typer.confirm("Another group of holes that moves by itself", default=False)
    return _ask_groups(draft) if more else draft
