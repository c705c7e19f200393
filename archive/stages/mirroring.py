"""Weeks whose spots leave the mirroring open, solved with that of other weeks of the same instrument."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from archive.model.times import days_since_1970
from archive.orientation.mirroring import ShownMirroring, carried_mirrorings, differs_from_neighbours, with_carried
from archive.orientation.spots import SpotSolution
from archive.stages.solved_week import Week, solved_week
from archive.store import Store

__all__ = ["CarriedReadings", "carried_readings"]

_SAME_WEEK_DAYS = 7.0


@dataclass(frozen=True)
class CarriedReadings:
    """Readings under a carried mirroring and remarks, by the picture's id; names of what is stored; and the weeks that
    show their mirroring by themselves."""

    readings: Mapping[str, SpotSolution]
    remarks: Mapping[str, str]
    names: Sequence[str]
    shown: tuple[ShownMirroring, ...]


def carried_readings(
    solved: Sequence[tuple[Week, Mapping[str, SpotSolution]]],
    instrument: str,
    *,
    store: Store,
    asked: Container[str] | None,
) -> CarriedReadings:
    """Return the readings of pictures whose mirroring their own week leaves open.

    Parameters
    ----------
    solved : sequence of (Week, mapping)
        The weeks of an instrument whose mount and mirroring are unknown, in order of time, with their solutions by id.
    instrument : str
    store : Store
        Holds what was found before, and what all weeks show of their mirroring.
    asked : container of str, optional
        Ids of pictures; where given, the weeks are not all that there are.
    """
    shown = [(week, found, one) for week, found in solved if (one := _shown_mirroring(week, found)) is not None]
    weeks = [one for _, _, one in shown]
    if asked is not None:
        kept = store.get(carried_mirrorings, instrument, None, tuple[ShownMirroring, ...]) or ()
        weeks += [one for one in kept if all(abs(one.time_days - at.time_days) > _SAME_WEEK_DAYS for at in weeks)]
    weeks.sort(key=lambda one: one.time_days)
    carried = dict(zip(weeks, carried_mirrorings(weeks), strict=True))
    readings: dict[str, SpotSolution] = {}
    remarks: dict[str, str] = {}
    names = []
    for week, found, one in shown:
        if differs_from_neighbours(one, weeks):
            remarks |= dict.fromkeys(found, _remark(one))
        over = carried[one]
        if over is None:
            continue
        renamed = replace(week, name=f"{week.name}/carried")
        names.append(renamed.name)
        again = solved_week(renamed, mirrored=over.mirrored, store=store, asked=asked)
        for id_, before in found.items():
            if id_ in again and not before.is_reliable:
                readings[id_] = with_carried(again[id_], over, before)
    return CarriedReadings(readings, remarks, names, tuple(one for one in weeks if one.is_sure))


def _shown_mirroring(week: Week, readings: Mapping[str, SpotSolution]) -> ShownMirroring | None:
    odds = next((reading.mirroring_odds for reading in readings.values()), None)
    if odds is None:
        return None
    return ShownMirroring(
        time_days=float(np.mean([days_since_1970(one.record.time) for one in week.own])),
        b0_deg=float(np.mean([one.sun.b0_deg for one in week.own])),
        radius_px=float(np.median([one.measured.disc.radius_px for one in week.own])),
        mirrored=next(reading.mirrored for reading in readings.values()),
        odds=odds,
    )


def _remark(one: ShownMirroring) -> str:
    how = "only as mirror images" if one.mirrored else "only where they are not mirrored"
    return f"the spots of this week fit {how}, unlike those of the weeks around; were its pictures flipped?"
