"""Do the running hosts of each site still hold their targets after an event?"""

from typing import Any

from app import events, labels
from app.figures.fleet_hosts import drawn_arms
from app.fleet_question import Asked, planned, shown_choice
from app.labels_fleet import ARM_LABEL
from app.words_failures import offers, refused
from model.errors import InputError
from model.failures import CIRCUMSTANCES, FAILURES, HostState, failure
from model.fleet import site_mixes
from model.host_rating import question
from model.hosts import Arm
from model.scenario import Scenario, load

Told = dict[str, Any]
MOST_EVENT_SITES = 12  # the largest ones; each takes some hundredths of a second
EVENT_HEAD = (
    "Site", "Arm", "Running hosts", "Sessions on a host", "Headroom [% of CPU]",
    "Scheduler wait [% of vCPU time]", "Delivered frames [% of wanted]", "Targets still hold",
)  # fmt: skip


def sites_after_event(asked: Asked) -> Told:
    """Return whether the hosts of each site still hold the targets after an event, both arms.

    Parameters
    ----------
    asked : Asked
        The question; without an event nothing is told.
    """
    if asked.event is None:
        return {"event": None}
    found = events.from_text(asked.event, asked.scenario)
    plan = planned(asked)
    at = shown_choice(asked, plan)
    choice = asked.inputs.choices[at]
    told: Told = {"event": found.key, "title": FAILURES[found.key], "choice": at, "rows": []}
    mixes = site_mixes(asked.inputs, asked.scenario)
    largest = sorted(
        (index for index, site in enumerate(asked.inputs.sites) if site.total),
        key=lambda index: -asked.inputs.sites[index].total,
    )
    held: dict[Arm, list[str]] = {"software": [], "offloaded": []}
    missed: dict[Arm, list[str]] = {"software": [], "offloaded": []}
    arms = tuple(reversed(drawn_arms(choice.accelerator.cards)))
    note = ""
    for index in sorted(largest[:MOST_EVENT_SITES]):
        site = asked.inputs.sites[index]
        text, _ = question(asked.scenario, mixes[index], choice, "offloaded")
        for arm in arms:
            of_site = plan.choices[at].arms[arm].sites[index]
            label = ARM_LABEL[arm] if choice.accelerator.cards else "no cards"
            row: Told = {"site": site.name, "arm": label, "cells": []}
            told["rows"].append(row)
            if of_site.costs is None:
                row["verdict"] = "not carried before either"
                missed[arm].append(site.name)
                continue
            running = of_site.costs.hosts - of_site.costs.drained_hosts
            try:
                after, note = _after(load(text), found, arm, site.total, running)
            except InputError as error:
                return told | {"rows": [], "refused": refused(error, found, load(text))}
            row |= after
            (held if after["holds"] else missed)[arm].append(site.name)
    rest = len(largest) - MOST_EVENT_SITES
    if rest > 0:
        told["limited"] = f"The {MOST_EVENT_SITES} largest sites are shown; {rest} are not."
    told["note"] = note
    told["sentence"] = _event_sentence(FAILURES[found.key], arms, held, missed, choice.name)
    return told


def possible_events(asked: Asked, at: int) -> dict[str, dict[str, str | None]]:
    """Return for each event what a click puts into the link, or why the host cannot meet it.

    Parameters
    ----------
    asked : Asked
        The question.
    at : int
        Place of the host choice. [-]
    """
    choice = asked.inputs.choices[at]
    changes = {"host": choice.host, "accelerator": choice.accelerator}
    return offers(asked.scenario.model_copy(update=changes))


def _after(
    host: Scenario, found: events.Event, arm: Arm, sessions: int, running: int
) -> tuple[Told, str]:
    """The hosts of one site after an event: cells before and after, and whether they hold."""
    circumstances = dict(found.circumstances)
    each = -(-sessions // running)
    if found.key == "host_lost":
        if running == 1:
            alone = {"holds": False, "cells": [], "verdict": "no: its only running host is lost"}
            return alone, FAILURES["host_lost"]
        circumstances["hosts"] = min(running, int(CIRCUMSTANCES["hosts"].high))
    on_host = host.model_copy(update={"sessions": each})
    answer = failure(on_host, found.key, **circumstances)
    before, after = answer.before[arm], answer.after[arm]
    note = answer.note
    if found.key == "host_lost":
        note = "The sessions of one running host of each site spread over those left there."
        left = -(-sessions // (running - 1))
        if left != after.sessions:  # that many were rounded up twice
            fewer = host.model_copy(update={"sessions": left})
            after = failure(fewer, "host_lost", hosts=2).before[arm]
    verdict = "yes" if after.holds else f"no: {'; '.join(after.missed)}"
    cells = [f"{running:,}", *_before_after(before, after)]
    return {"holds": after.holds, "cells": cells, "verdict": verdict}, note


def _before_after(before: HostState, after: HostState) -> list[str]:
    names = ("headroom_pct", "wait_busy_pct", "frames_busy_pct")
    pairs = [
        (labels.value(name, getattr(before, name)), labels.value(name, getattr(after, name)))
        for name in names
    ]
    return [f"{before.sessions:,} to {after.sessions:,}", *[f"{a} to {b}" for a, b in pairs]]


def _event_sentence(
    title: str,
    arms: tuple[Arm, ...],
    held: dict[Arm, list[str]],
    missed: dict[Arm, list[str]],
    choice: str,
) -> str:
    if len(arms) > 1 and not any(missed.values()):
        return f"{title}, on {choice}: every site still holds its targets, with cards and without."
    parts = []
    for arm in arms:
        label = f" {ARM_LABEL[arm]}" if len(arms) > 1 else ""
        if not missed[arm]:
            parts.append(f"every site still holds its targets{label}")
        elif not held[arm]:
            parts.append(f"no site holds its targets{label}")
        else:
            fail = "does" if len(missed[arm]) == 1 else "do"
            parts.append(f"{', '.join(missed[arm])} {fail} not hold the targets{label}")
    return f"{title}, on {choice}: {'; '.join(parts)}."
