"""The questions that ``jiggen new`` asks, and what their answers make of a draft."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar, get_args

import typer

from jiggen.cli.program import Reading
from jiggen.errors import Finding, InputError
from jiggen.inputs.faults import quoted
from jiggen.pattern.draft import (
    Draft,
    Units,
    add_holes,
    measure,
    read_datum,
    read_group,
    read_place,
    read_shift,
)
from jiggen.pattern.model import Group, Pair
from jiggen.units import length_range

T = TypeVar("T")
Read = Callable[[Draft, str], Draft]


WELCOME = (
    "A new pattern: have the plate's mounting sheet at hand, or the plate and a caliper.\n"
    "Enter takes what stands in brackets. Ctrl-C stops, and nothing is written.\n"
)


@dataclass(frozen=True)
class Question:
    """One thing to know of a pattern: by option, or asked for.

    `usual` is offered as the answer, None for no offer; `default` is used when nothing is asked,
    None for an option that must then be given.  `read` puts an answer into a draft, and raises
    InputError for one that is not valid.
    """

    option: str
    words: str
    usual: str | None
    default: str | None
    read: Read


def _name(draft: Draft, words: str) -> Draft:
    return replace(draft, name=words.strip())


def _units(draft: Draft, words: str) -> Draft:
    return replace(draft, units=_choice(words, get_args(Units)))


def _pair(draft: Draft, words: str) -> Draft:
    return replace(draft, pair=_choice(words, get_args(Pair)))


def _choice(words: str, choices: tuple[T, ...]) -> T:
    for choice in choices:
        if words == choice:
            return choice
    hint = f"Allowed: {' or '.join(map(str, choices))}."
    raise InputError(Finding("draft.choice", f"{quoted(words)} is not allowed", hint=hint))


def _boot(draft: Draft, words: str) -> Draft:
    if not words.strip():
        return replace(draft, boot=None)
    plain = words.strip()[-1].isdigit()
    return replace(draft, boot=length_range(f"{words}{draft.units}" if plain else words, "--boot"))


def _plain(draft: Draft, words: str) -> Draft:
    return _with_drill(draft, plain=measure(words, draft.units, "--drill"))


def _metal(draft: Draft, words: str) -> Draft:
    given = words.strip()
    metal = measure(words, draft.units, "--metal") if given else draft.drill.plain
    return _with_drill(draft, metal=metal)


def _depth(draft: Draft, words: str) -> Draft:
    return _with_drill(draft, depth=measure(words, draft.units, "--depth"))


def _with_drill(draft: Draft, **changed: float) -> Draft:
    return replace(draft, drill=replace(draft.drill, **changed))


QUESTIONS = (
    Question("--name", "Name of the pattern, engraved on the jig", None, None, _name),
    Question("--units", "Unit of every length you give, mm or in", "mm", "mm", _units),
    Question(
        "--boot", "Shortest to longest boot sole it serves, 255-355 (Enter: any)", "", "", _boot
    ),
    Question("--pair", "Left and right ski: same or mirrored", "same", "same", _pair),
    Question("--drill", "Drill diameter in a plain core", "3.6mm", None, _plain),
    Question("--metal", "Drill diameter under a metal sheet", "4.1mm", "", _metal),
    Question("--depth", "Drill depth below the top sheet", None, None, _depth),
)
DATUM = (
    "What does it move with: boot-toe, boot-heel, or boot-centre for holes that stay where they "
    "are on the ski"
)
SHIFT = (
    "How far from there is the point you measure its holes from, + towards the tip "
    "(in steps: boot:shift, boot:shift)"
)


def answer(draft: Draft, question: Question, words: str, reading: Reading) -> Draft:
    """The draft with an answer that is there already; what is wrong with it goes to `reading`."""

    def read() -> Draft:
        found = question.read(draft, words)
        faults = found.faults()
        if faults:
            raise InputError(replace(fault, key=question.option) for fault in faults)
        return found

    return reading.read(read, draft)


def ask(draft: Draft, words: str, read: Read, usual: str | None = None, option: str = "") -> Draft:
    """The draft with an answer asked for until there is nothing wrong with it.

    Raises InputError ``cli.unanswered`` where the input ends before the answer.
    """

    def checked(given: str) -> Draft:
        try:
            found = read(draft, given)
            faults = found.faults()
        except InputError as error:
            faults = error.findings
        if faults:
            raise typer.BadParameter("\n".join(_plainly(fault) for fault in faults))
        return found

    try:
        found: Draft = typer.prompt(words, usual, value_proc=checked, show_default=bool(usual))
    except typer.Abort:
        raise _unanswered(words, option) from None
    return found


def _plainly(fault: Finding) -> str:
    return f"{fault.message}. {fault.hint}".replace("..", ".").strip()


def _unanswered(words: str, option: str) -> Exception:
    """What an input that ends means: stopped by hand at a terminal, too short elsewhere."""
    if sys.stdin.isatty():
        return typer.Abort()
    hint = "Answer at a terminal, or give options: jiggen new --help."
    message = f"no answer to: {words}"
    return InputError(Finding("cli.unanswered", message, key=option, hint=hint))


def ask_group(draft: Draft) -> Draft:
    """The draft with one more group and its holes."""
    nth = len(draft.groups)
    usual = ("toe", "heel")[nth] if nth < 2 else None
    draft = ask(draft, "Name of the group, of which its holes' names are made", _add_group, usual)
    draft = ask(draft, DATUM, _with_datum)
    draft = ask(draft, SHIFT, _with_shift, "0")
    typer.echo(
        "Its holes: x to the tip, y to the left, from that point; both after it for one on "
        "each side."
    )
    while True:
        count = len(draft.groups[-1].holes)
        more = count > 0
        words = f"Hole {count + 1}{' (Enter: no more)' if more else ', as 12, 21, both'}"
        after = ask(draft, words, _with_hole, "" if more else None)
        if after is draft:
            return draft
        draft = after


def _add_group(draft: Draft, words: str) -> Draft:
    group = Group(words.strip(), "boot-centre", 0.0, (), ())
    return replace(draft, groups=(*draft.groups, group))


def _with_datum(draft: Draft, words: str) -> Draft:
    *before, last = draft.groups
    return replace(draft, groups=(*before, replace(last, datum=read_datum(words.strip()))))


def _with_shift(draft: Draft, words: str) -> Draft:
    *before, last = draft.groups
    parts = [word.strip() for word in words.split(",")]
    shift, steps = read_shift(parts, draft.units)
    return replace(draft, groups=(*before, replace(last, shift=shift, steps=steps)))


def _with_hole(draft: Draft, words: str) -> Draft:
    return draft.with_hole(*read_place(words, draft.units)) if words.strip() else draft


def draft_from_options(
    given: dict[str, str | None], groups: list[str], holes: list[str], reading: Reading
) -> Draft:
    """The draft that the options say, and nothing asked."""
    draft = Draft()
    for question in QUESTIONS:
        words = given[question.option]
        if words is None and question.default is None:
            message = "is missing: with --hole given, nothing is asked"
            hint = f"It is the {question.words[0].lower()}{question.words[1:]}."
            reading.faults.append(Finding("cli.missing", message, key=question.option, hint=hint))
        else:
            draft = answer(draft, question, words or question.default or "", reading)
    named = [
        reading.read(partial(read_group, words, draft.units, "--group"), None) for words in groups
    ]
    sound = tuple(found for found in named if found)
    if len(sound) == len(groups):
        filled = reading.read(
            lambda: add_holes(sound, holes, draft.units, draft.drill, "--hole"), sound
        )
        draft = replace(draft, groups=filled)
    if not reading.faults:
        reading.faults += draft.faults(finished=True)
    return draft


def draft_from_answers(given: dict[str, str | None], groups: list[str], reading: Reading) -> Draft:
    """The draft that the answers make; what the options say is not asked."""
    if groups:
        hint = "Give each of its holes with --hole, or let yourself be asked for both."
        message = "a group without --hole has no holes"
        reading.faults.append(Finding("cli.missing", message, key="--group", hint=hint))
    reading.end()  # before anyone answers twenty questions
    typer.echo(WELCOME)
    draft = Draft()
    for question in QUESTIONS:
        words = given[question.option]
        if words is None:
            draft = ask(draft, question.words, question.read, question.usual, question.option)
        else:
            draft = answer(draft, question, words, reading)
            reading.end()
    more = True
    while more:
        typer.echo()
        draft = ask_group(draft)
        more = typer.confirm("Another group of holes that moves by itself", default=False)
    return draft
