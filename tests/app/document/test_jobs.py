"""Work off the GUI thread: outcomes arrive on it, dropped tickets bring nothing, errors are handed over."""

from __future__ import annotations

import threading

import pytest
from pytestqt.qtbot import QtBot

from app.document.jobs import Jobs, Ticket
from core.progress import Progress


@pytest.fixture
def jobs(qtbot: QtBot) -> Jobs:
    made = Jobs(2)
    yield made
    made.shut()


def test_the_value_arrives_on_the_gui_thread(jobs: Jobs, qtbot: QtBot) -> None:
    threads, values = [], []

    def work(_: Ticket) -> int:
        threads.append(threading.get_ident())
        return 42

    jobs.start(work, done=lambda v: values.append((v, threading.get_ident())), failed=pytest.fail)
    qtbot.waitUntil(lambda: bool(values))
    assert values == [(42, threading.get_ident())]
    assert threads[0] != threading.get_ident()
    qtbot.waitUntil(lambda: jobs.idle)


def test_an_error_is_handed_over(jobs: Jobs, qtbot: QtBot) -> None:
    errors: list[Exception] = []

    def work(_: Ticket) -> None:
        raise ZeroDivisionError("on purpose")

    jobs.start(work, done=pytest.fail, failed=errors.append)
    qtbot.waitUntil(lambda: bool(errors))
    assert isinstance(errors[0], ZeroDivisionError)


def test_a_dropped_ticket_brings_nothing(jobs: Jobs, qtbot: QtBot) -> None:
    go, values = threading.Event(), []

    def work(_: Ticket) -> int:
        go.wait(5)
        return 1

    ticket = jobs.start(work, done=values.append, failed=values.append)
    ticket.drop()
    go.set()
    qtbot.waitUntil(lambda: jobs.idle)
    assert values == []


def test_an_answer_that_waits_is_dropped_too(jobs: Jobs, qtbot: QtBot) -> None:
    finished, values = threading.Event(), []

    def work(_: Ticket) -> int:
        finished.set()
        return 1

    ticket = jobs.start(work, done=values.append, failed=values.append)
    assert finished.wait(5)
    ticket.drop()  # the value is on its way, the GUI thread has not looked yet
    qtbot.waitUntil(lambda: jobs.idle)
    assert values == []


def test_the_last_report_always_arrives(jobs: Jobs, qtbot: QtBot) -> None:
    seen: list[Progress] = []

    def work(ticket: Ticket) -> None:
        for done in range(1, 1001):
            ticket.report(Progress(done, 1000, "counting"))

    jobs.start(work, done=lambda _: None, failed=pytest.fail, progressed=seen.append)
    qtbot.waitUntil(lambda: jobs.idle)
    assert seen[-1].done == 1000
    assert len(seen) < 200  # those that follow too closely are left out


def test_shut_waits_for_the_threads(qtbot: QtBot) -> None:
    jobs, begun, left = Jobs(1), threading.Event(), threading.Event()

    def work(ticket: Ticket) -> None:
        begun.set()
        while not ticket.cancel.requested:
            pass
        left.set()

    jobs.start(work, done=pytest.fail, failed=pytest.fail)
    assert begun.wait(5)
    jobs.shut()
    assert left.is_set()
