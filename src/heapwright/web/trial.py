"""The trial: curves by age and by date, air, what was done, kept forecasts, table of rounds."""

from __future__ import annotations

from importlib import resources
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import FileResponse, HTMLResponse, Response

from heapwright.errors import NotEnoughError
from heapwright.services.trialview import trial_view
from heapwright.services.yard import pick_trial
from heapwright.web.exact import exact
from heapwright.web.site import reader, show
from heapwright.web.today import trial_of

__all__ = ["router"]

router = APIRouter()
Wanted = Annotated[str | None, Query(max_length=80)]


@router.get("/trial", response_class=HTMLResponse)
def trial_page(to: reader, trial: Wanted = None) -> HTMLResponse:
    """A trial as it stands; nothing is fitted for it."""
    name = trial_of(to, trial)
    if name is None:
        return show(to, "trial.html", view=None, why="", trials=())
    with to.site.open() as book:
        trials = book.trials()
        try:
            view = trial_view(book, name, now=to.now)
        except NotEnoughError as error:
            return show(to, "trial.html", view=None, why=error.message, trials=trials)
    return show(to, "trial.html", view=view, why="", trials=trials)


@router.get("/api/trial")
def trial_data(to: reader, trial: Wanted = None) -> Response:
    """The same as JSON."""
    name = trial_of(to, trial)
    with to.site.open() as book:
        return exact(trial_view(book, name or pick_trial(book, None), now=to.now).to_json())


@router.get("/static-plotly/plotly.min.js")
def plotly(to: reader) -> FileResponse:
    """The script for the closer look, as the installed package carries it."""
    found = resources.files("plotly").joinpath("package_data", "plotly.min.js")
    return FileResponse(Path(str(found)), media_type="text/javascript")
