"""The three readers through a client generated from the OpenAPI document: weekly list, reminder pull, status poll.

What has to come out is in EXPECTED, taken from the raw answers; every difference ends this with an error.
"""

import datetime
import json
import math
import os
from typing import Any
from uuid import UUID

import httpx
from generated import AuthenticatedClient
from generated.api.reminders import pull_reminders
from generated.api.systems import get_status
from generated.api.tasks import list_tasks
from generated.api.visits import log_visit
from generated.models import (
    ClassFinding,
    ClassFindingFound,
    Duty,
    FoundClass,
    PageUpkeepTask,
    Problem,
    ProblemCode,
    Reminder,
    ReminderFeed,
    ReminderKind,
    SystemStatus,
    UpkeepTask,
    Visit,
    VisitItem,
    VisitRequest,
)
from generated.types import UNSET, Unset

EXPECTED: dict[str, Any] = json.loads(os.environ["EXPECTED"])
CLIENT = AuthenticatedClient(
    base_url=os.environ["EAVESWARD_URL"],
    token=os.environ["EAVESWARD_KEY"],
    raise_on_unexpected_status=True,
    timeout=httpx.Timeout(60),
    httpx_args={"trust_env": False},
)


def equal(got: object, wanted: object, what: str) -> None:
    """Not `assert`, which a flag of the interpreter takes away."""
    if got != wanted:
        raise SystemExit(f"{what}: {got!r} instead of {wanted!r}")


def weekly_list() -> None:
    """The property manager: what falls due this week, page by page."""
    tasks: list[UpkeepTask] = []
    cursor: str | Unset = UNSET
    pages = 0
    while True:
        page = list_tasks.sync(client=CLIENT, within="P7D", limit=3, cursor=cursor)
        if not isinstance(page, PageUpkeepTask):
            raise SystemExit(f"the list was refused: {page}")
        tasks += page.items
        pages += 1
        if not page.next_cursor:
            break
        cursor = page.next_cursor
    equal([str(task.id) for task in tasks], EXPECTED["task_ids"], "tasks")
    equal(pages, math.ceil(len(EXPECTED["task_ids"]) / 3), "pages")
    equal(pages > 1, True, "more than one page")
    equal(tasks[0].title, EXPECTED["first_title"], "title of the first")
    equal(sum(len(task.cautions) for task in tasks), EXPECTED["caution_count"], "cautions")
    for task in tasks:
        equal(type(task.due_on), datetime.date, "type of a due date")


def pull(after: str | Unset, wait: int | Unset = UNSET) -> ReminderFeed:
    feed = pull_reminders.sync(client=CLIENT, after=after, wait=wait, limit=2)
    if not isinstance(feed, ReminderFeed):
        raise SystemExit(f"the feed was refused: {feed}")
    return feed


def reminders() -> None:
    """The installer's app: everything so far, nothing new, and then the visit that was just logged."""
    feed = pull(UNSET)
    entries: list[Reminder] = list(feed.items)
    while feed.behind > 0:
        feed = pull(feed.cursor)
        entries += feed.items
    equal([str(entry.id) for entry in entries], EXPECTED["reminder_ids"], "reminders")
    second = pull(feed.cursor)
    equal((second.items, second.behind), ([], 0), "a second pull")

    component, visited_on = UUID(EXPECTED["component_id"]), datetime.date.fromisoformat(EXPECTED["visited_on"])
    found = ClassFinding(found=ClassFindingFound.CLASS, fullness=FoundClass.HALF)
    item = VisitItem(component_id=component, duty=Duty.CLEAN_SCREEN, done=True, finding=found)
    visit = VisitRequest(system_id=UUID(EXPECTED["system_id"]), visited_on=visited_on, items=[item])
    logged = log_visit.sync_detailed(client=CLIENT, body=visit, idempotency_key="python-reader")
    if not isinstance(logged.parsed, Visit):
        raise SystemExit(f"the visit was refused: {logged.parsed}")
    third = pull(second.cursor, wait=30)
    equal([entry.kind for entry in third.items[:1]], [ReminderKind.DONE], "the entry after a visit")
    equal(third.items[0].component_id, component, "its component")
    equal(third.items[0].done_on, visited_on, "its day")


def status_poll() -> None:
    """The dashboard: the status once, and then only whether it changed."""
    system = UUID(EXPECTED["system_id"])
    first = get_status.sync_detailed(system, client=CLIENT)
    if not isinstance(first.parsed, SystemStatus):
        raise SystemExit(f"the status was refused: {first.parsed}")
    equal(first.headers["etag"], EXPECTED["status_tag"], "tag")
    equal(first.parsed.system_id, system, "system")
    equal(first.parsed.runoff_30_days_l, EXPECTED["runoff_30_days_l"], "runoff")
    equal([duty.title for duty in first.parsed.next_], EXPECTED["next_titles"], "what comes next")
    second = get_status.sync_detailed(system, client=CLIENT, if_none_match=first.headers["etag"])
    equal(second.status_code, 304, "a second poll")


def refusal() -> None:
    """What is refused comes back as a typed problem."""
    refused = list_tasks.sync(client=CLIENT, within="soon")
    if not isinstance(refused, Problem):
        raise SystemExit(f"a wrong filter was answered {refused}")
    equal(refused.code, ProblemCode.INVALID, "code")
    equal([error.field for error in refused.errors or []], ["within"], "field")


weekly_list()
status_poll()
reminders()
refusal()
print("all readers are served")
