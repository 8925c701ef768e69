"""Questions answered beside the pages: the latest first, each answer kept, none lost."""

from __future__ import annotations

import threading

from jiggen.desk.planning import KEPT, Thinker
from jiggen.errors import InputError
from jiggen.progress import announce

LONG = 20.0  # s


def test_an_answer_is_worked_out_once_and_told():
    thinker, told, made = Thinker[int](), threading.Event(), []
    for _ in range(2):
        answer = thinker.ask("a", lambda: made.append(1) or 7, told.set, LONG)
        assert answer and answer.value == 7
    assert told.wait(LONG) and made == [1]


def test_what_is_wrong_is_an_answer_too():
    def refused() -> int:
        raise InputError.of("test.row", "not so", where="row 2")

    thinker = Thinker[int]()
    for make, said in ((refused, "not so"), (lambda: 1 // 0, "ZeroDivisionError")):
        answer = thinker.ask(said, make, lambda: None, LONG)
        assert answer and answer.value is None and said in answer.findings[0].message


def test_what_is_asked_later_is_answered_before_and_what_was_begun_is_not_lost():
    thinker, begun, go, done = Thinker[str](), threading.Event(), threading.Event(), []

    def slow() -> str:
        begun.set()
        assert go.wait(LONG)
        announce("the next step")
        return "slow"

    assert thinker.ask("slow", slow, lambda: done.append("slow"), 0.0) is None
    assert begun.wait(LONG)
    assert thinker.ask("quick", lambda: "quick", lambda: done.append("quick"), 0.0) is None
    go.set()
    for key, make in (("quick", lambda: "quick"), ("slow", slow)):
        answer = thinker.ask(key, make, lambda: done.append(key), LONG)  # noqa: B023
        assert answer and answer.value == key
    assert done[0] == "quick"


def test_old_answers_are_forgotten():
    thinker, made = Thinker[int](), []
    for number in [*range(KEPT + 1), 0]:
        assert thinker.ask(f"{number}", lambda n=number: made.append(n) or n, lambda: None, LONG)
    assert made == [*range(KEPT + 1), 0]
