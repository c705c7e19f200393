"""The page of the eclipse to come, and what home announces of it: the caution first on both."""

from __future__ import annotations

from dataclasses import dataclass

from archive.language import day_and_month, format_day, gettext
from archive.model.eclipse import EclipseAt
from archive.safety import CAUTION, ECLIPSE_CAUTION
from archive.website.addresses import Here, eclipse_page
from archive.website.eclipse_view import EclipseView, eclipse_name, eclipse_view
from archive.website.pages import Frame, Link, PagePlan, SiteFace, frame

__all__ = ["Announcement", "EclipsePage", "announcement", "eclipse_pages"]


@dataclass(frozen=True)
class Announcement:
    """An eclipse to come, as home announces it."""

    caution: str
    day: str
    date_machine: str
    title: str
    summary: str
    page: Link


@dataclass(frozen=True)
class EclipsePage:
    """An eclipse to come; `caution` is that of eclipses, `usual_caution` that of every day."""

    frame: Frame
    day: str
    year: int
    date_machine: str
    caution: str
    usual_caution: str
    eclipse: EclipseView


def announcement(at: EclipseAt | None, here: Here) -> Announcement | None:
    """Return what a page announces of the eclipse to come; None where there is none."""
    if at is None:
        return None
    view = eclipse_view(at)
    page = Link(gettext("Course and times"), here.to(eclipse_page(at.day)))
    day = format_day(at.day)
    return Announcement(gettext(ECLIPSE_CAUTION), day, at.day.isoformat(), view.title, view.summary, page)


def eclipse_pages(at: EclipseAt | None, face: SiteFace) -> list[PagePlan[EclipsePage]]:
    """Plan the page of the eclipse to come, where there is one."""
    if at is None:
        return []
    return [PagePlan(eclipse_page(at.day), lambda: _page(at, face), inputs=at)]


def _page(at: EclipseAt, face: SiteFace) -> EclipsePage:
    here = Here(eclipse_page(at.day))
    view = eclipse_view(at)
    title = f"{eclipse_name(at.eclipse)}, {format_day(at.day)}"
    return EclipsePage(
        frame=frame(face, here, title=title, description=view.summary),
        day=day_and_month(at.day),
        year=at.day.year,
        date_machine=at.day.isoformat(),
        caution=gettext(ECLIPSE_CAUTION),
        usual_caution=gettext(CAUTION),
        eclipse=view,
    )
