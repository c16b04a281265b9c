"""The plan: as locked, checked and locked, its mix, what it can show, its calendar, sharing out."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Query
from fastapi.responses import HTMLResponse, Response

from heapwright.errors import HeapwrightError, LockedError, NotEnoughError
from heapwright.reports.sheets import deal_sheet_html, lots_sheet_html
from heapwright.services import deal as dealing
from heapwright.services import mix as mixing
from heapwright.services import mixwords
from heapwright.services.calendar import calendar_of_work, ics_of, rows_of, totals
from heapwright.services.deal import RULES, Deal, share_out
from heapwright.services.plancheck import check_text, locked_plan, reach_in_book
from heapwright.services.plans import example_plan, lock_text, plan_text, stored_plan
from heapwright.services.scores import parse_scores
from heapwright.web.access import Role
from heapwright.web.site import Access, Refused, keeper, reader, show
from heapwright.web.today import trial_of

__all__ = ["named", "none_yet", "router"]

router = APIRouter()
Name = Annotated[str | None, Query(max_length=80)]
Short = Annotated[str, Query(max_length=80)]
Text = Annotated[str, Form(max_length=60_000)]
_SEED = 1


def named(to: Access, trial: str | None) -> str:
    """The trial that is looked at; `NotEnoughError` where the book has none."""
    name = trial_of(to, trial)
    if name is None:
        raise NotEnoughError(
            "the book has no trial yet", field="trial", way_out="Answer four questions: /start"
        )
    return name


def none_yet(to: Access, error: HeapwrightError) -> HTMLResponse:
    """The page that stands where there is no plan: what will be here, and the one step to it."""
    return show(to, "plan_none.html", why=error.what)


# --- the plan as locked ------------------------------------------------------------------------


@router.get("/plan", response_class=HTMLResponse)
def plan(to: reader, trial: Name = None) -> HTMLResponse:
    """What was locked, in words, and what was edited since."""
    try:
        name = named(to, trial)
        with to.site.open() as book:
            found = locked_plan(book, name, now=to.now)
    except NotEnoughError as error:
        return none_yet(to, error)
    return show(to, "plan.html", found=found, stored=found.stored, name=name)


@router.get("/api/plan")
def plan_data(to: reader, trial: Name = None) -> dict[str, Any]:
    """The same as ``heapwright plan show --json``."""
    with to.site.open() as book:
        return stored_plan(book, named(to, trial)).to_json()


# --- check and lock ----------------------------------------------------------------------------


@router.get("/plan/lock", response_class=HTMLResponse)
def lock_page(to: keeper, trial: Name = None, example: bool = False) -> HTMLResponse:
    """A plan to paste or edit; the newest text of the trial stands there."""
    text = example_plan() if example else ""
    name = None if example else trial_of(to, trial)
    if name is not None:
        with to.site.open() as book:
            text = plan_text(book, name)
    return _editing(to, text)


@router.post("/plan/check", response_class=HTMLResponse)
def check(to: reader, text: Text = "") -> HTMLResponse:
    """What a plan means, with the text still there to edit."""
    text = _lines(text)
    try:
        return _editing(to, text, checked=check_text(text, now=to.now))
    except HeapwrightError as error:
        return _editing(to, text, fault=error, status=422)


@router.post("/api/plan/check")
def check_data(to: reader, text: Text) -> dict[str, Any]:
    """The same as ``heapwright plan check --json``."""
    return check_text(_lines(text), now=to.now).to_json()


@router.post("/plan/lock", response_class=HTMLResponse)
def lock(
    to: keeper, text: Text = "", edit: Annotated[bool, Form()] = False,
    why: Annotated[str, Form(max_length=400)] = "",
) -> HTMLResponse:  # fmt: skip
    """Lock a plan; a changed locked part needs a reason, as on the command line."""
    text = _lines(text)
    try:
        with to.site.open() as book:
            stored = lock_text(book, text, now=to.now, why=why, unlock=edit)
    except HeapwrightError as error:
        status = 409 if isinstance(error, LockedError) else 422
        return _editing(to, text, fault=error, why=why, status=status)
    return show(to, "plan_locked.html", stored=stored)


@router.post("/api/plan/lock")
def lock_data(
    to: keeper, text: Text, edit: Annotated[bool, Form()] = False,
    why: Annotated[str, Form(max_length=400)] = "",
) -> dict[str, Any]:  # fmt: skip
    """The same as ``heapwright plan lock --json``."""
    with to.site.open() as book:
        return lock_text(book, _lines(text), now=to.now, why=why, unlock=edit).locked_json()


def _lines(text: str) -> str:
    """The text of a form with the line ends that files have here."""
    return text.replace("\r\n", "\n")


def _editing(
    to: Access, text: str, *, checked: Any = None, fault: HeapwrightError | None = None,
    why: str = "", status: int = 200,
) -> HTMLResponse:  # fmt: skip
    locked_part = isinstance(fault, LockedError)
    return show(
        to, "plan_lock.html", status=status, text=text, checked=checked, why=why,
        fault="" if fault is None else fault.what if locked_part else fault.message,
        locked_part=locked_part,
    )  # fmt: skip


# --- the mix -----------------------------------------------------------------------------------


@router.get("/plan/mix", response_class=HTMLResponse)
def mix(
    to: reader, materials: Annotated[str | None, Query(max_length=2000)] = None,
    barrow: Short = "", goal_cn: Short = "", goal_moisture: Short = "", nitrogen: Short = "",
    trial: Name = None,
) -> HTMLResponse:  # fmt: skip
    """A mix in barrows, with its ranges; the materials of the plan stand there at first."""
    if materials is None:
        materials = "\n".join(_planned(to, trial))
    typed = {"materials": materials, "barrow": barrow, "goal_cn": goal_cn,
             "goal_moisture": goal_moisture, "nitrogen": nitrogen}  # fmt: skip
    if not _rows(materials):
        return show(to, "plan_mix.html", typed=typed, found=None, fault="", words=mixwords)
    try:
        found = _mixed(**typed)
    except HeapwrightError as error:
        return show(
            to, "plan_mix.html", status=422, typed=typed, found=None, fault=error.message,
            words=mixwords,
        )  # fmt: skip
    return show(to, "plan_mix.html", typed=typed, found=found, fault="", words=mixwords)


@router.post("/api/mix")
def mix_data(
    to: reader,
    materials: Annotated[str, Form(max_length=2000)],
    barrow: Annotated[str, Form(max_length=80)] = "",
    goal_cn: Annotated[str, Form(max_length=80)] = "",
    goal_moisture: Annotated[str, Form(max_length=80)] = "",
    nitrogen: Annotated[str, Form(max_length=80)] = "",
) -> dict[str, Any]:
    """The same as ``heapwright mix --json``; materials one a line."""
    found = _mixed(materials, barrow, goal_cn, goal_moisture, nitrogen)
    return mixwords.mix_json(found, seed=_SEED)


def _mixed(
    materials: str, barrow: str, goal_cn: str, goal_moisture: str, nitrogen: str
) -> Any:  # MixSummary or MixSolution
    return mixing.answer(
        _rows(materials), rng_seed=_SEED, barrow=barrow.strip() or None,
        goal_cn=goal_cn.strip() or None, goal_moisture=goal_moisture.strip() or None,
        nitrogen=nitrogen.strip() or None,
    )  # fmt: skip


def _rows(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]


def _planned(to: Access, trial: str | None) -> tuple[str, ...]:
    """The materials of the plan, as they are typed; none where there is no plan."""
    try:
        name = named(to, trial)
        with to.site.open() as book:
            return locked_plan(book, name, now=to.now).materials
    except NotEnoughError:
        return ()


# --- what it can show, and its calendar --------------------------------------------------------


@router.get("/plan/reach", response_class=HTMLResponse)
def reach(to: reader, trial: Name = None) -> HTMLResponse:
    """What the plan can show, as tables."""
    try:
        name = named(to, trial)
        with to.site.open() as book:
            found = reach_in_book(book, name, now=to.now)
    except NotEnoughError as error:
        return none_yet(to, error)
    return show(to, "plan_reach.html", found=found)


@router.get("/api/plan/reach")
def reach_data(to: reader, trial: Name = None) -> dict[str, Any]:
    """The same as ``heapwright plan reach --json`` for the locked plan, without weather."""
    with to.site.open() as book:
        return reach_in_book(book, named(to, trial), now=to.now).to_json()


@router.get("/plan/calendar", response_class=HTMLResponse)
def calendar(to: reader, trial: Name = None) -> HTMLResponse:
    """All work of the trial as a table."""
    try:
        found = calendar_of_work(named(to, trial), book=to.site.book, now=to.now)
    except NotEnoughError as error:
        return none_yet(to, error)
    return show(
        to, "plan_calendar.html", found=found, rows=rows_of(found.tasks), hours=totals(found.tasks)
    )


@router.get("/plan/calendar.ics")
def calendar_file(to: reader, trial: Name = None) -> Response:
    """The calendar as a file for phone or laptop."""
    found = calendar_of_work(named(to, trial), book=to.site.book, now=to.now)
    return Response(
        ics_of(found, now=to.now), media_type="text/calendar",
        headers={"Content-Disposition": 'attachment; filename="heapwright.ics"'},
    )  # fmt: skip


@router.get("/api/calendar")
def calendar_data(to: reader, trial: Name = None) -> dict[str, Any]:
    """The same as ``heapwright calendar --json``."""
    return calendar_of_work(named(to, trial), book=to.site.book, now=to.now).to_json()


# --- sharing out -------------------------------------------------------------------------------

Loads = Annotated[str, Query(max_length=5, pattern="^[0-9]*$")]
Scores = Annotated[str, Query(max_length=20_000)]


@router.get("/plan/deal", response_class=HTMLResponse)
def deal(
    to: reader, trial: Name = None, loads: Loads = "", scores: Scores = "",
    rule: Short = "buffered", lots: bool = False,
) -> HTMLResponse:  # fmt: skip
    """Loads shared out over the heaps; the lots only for a keeper who asks."""
    typed = {"loads": loads, "scores": scores, "rule": rule}
    try:
        name = named(to, trial)
    except NotEnoughError as error:
        return none_yet(to, error)
    shown: dict[str, Any] = {"typed": typed, "rules": RULES, "name": name, "made": None,
                             "lots": None, "fault": ""}  # fmt: skip
    try:
        shown["made"] = _dealt(to, name, loads, scores, rule)
        shown["lots"] = _lots(to, shown["made"]) if lots else None
    except HeapwrightError as error:
        return show(to, "plan_deal.html", status=422, **{**shown, "fault": error.message})
    return show(to, "plan_deal.html", **shown)


@router.get("/api/deal")
def deal_data(
    to: reader, trial: Name = None, loads: Loads = "", scores: Scores = "",
    rule: Short = "buffered", lots: bool = False,
) -> dict[str, Any]:  # fmt: skip
    """The same as ``heapwright deal --json``."""
    made = _dealt(to, named(to, trial), loads, scores, rule)
    if lots:
        _lots(to, made)
    return made.to_json(lots=lots)


@router.get("/plan/deal/sheet", response_class=HTMLResponse)
def deal_sheet(
    to: reader, trial: Name = None, loads: Loads = "", scores: Scores = "",
    rule: Short = "buffered",
) -> HTMLResponse:  # fmt: skip
    """The dealer's sheet, to be printed; no way is on it."""
    made = _dealt(to, named(to, trial), loads, scores, rule)
    return HTMLResponse(deal_sheet_html(dealing.deal_sheet(made, now=to.now)))


@router.get("/plan/deal/lots", response_class=HTMLResponse)
def deal_lots(to: keeper, trial: Name = None, loads: Loads = "") -> HTMLResponse:
    """The lots as a sheet to be sealed."""
    made = _dealt(to, named(to, trial), loads, "", "buffered")
    return HTMLResponse(lots_sheet_html(dealing.lots_sheet(made, now=to.now)))


def _dealt(to: Access, name: str, loads: str, scores: str, rule: str) -> Deal:
    return share_out(
        name, book=to.site.book, now=to.now, loads=int(loads) if loads else None,
        scores=parse_scores(scores) if scores.strip() else (), rule=rule,
    )  # fmt: skip


def _lots(to: Access, made: Deal) -> Any:
    if to.visitor.role < Role.KEEPER:
        raise Refused(403, "The lots are for the keeper: whoever deals the loads must not see them")
    return dealing.needed_lots(made)
