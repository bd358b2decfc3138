"""The note for the chart: plain text, alarms first, A and P left to the therapist."""

from __future__ import annotations

from battery.report import words
from battery.report.alarming import acknowledged_lines, alarm_lines
from battery.report.home_exercise import last_week
from battery.report.judged import Page
from battery.report.lines import Line
from battery.scoring import PRIMARY
from norms import sentences

MEDICATION = {
    "none": "Takes no medicine for movement.",
    "under_1_h": "Medicine under 1 h before.",
    "1_to_2_h": "Medicine 1 to 2 h before.",
    "2_to_4_h": "Medicine 2 to 4 h before.",
    "over_4_h": "Medicine over 4 h before.",
    "not_today": "No medicine taken that day.",
}


def note_text(page: Page) -> str:
    """Write the note.

    Returns
    -------
    str
        Plain text. Alarms stand first. S holds what the person answered at the latest visit
        and reported of home exercise; O every line that the page tells, with what decided it,
        and the events beside it. A and P are the therapist's.
    """
    hands = [_hand(page, line) for hand in page.hands if (line := page.headline(hand))]
    leads = [page.headline(hand) for hand in page.hands]
    tasks = [
        _task(line)
        for hand in page.hands
        for task in page.tasks
        if (line := page.line(PRIMARY[task].name, hand)) and line.told and line not in leads
    ]
    told = " ".join(words for words in (_reported(page), _home_exercise(page)) if words)
    around = [words.new_baseline(page), _events(page), words.both_hands(page)]
    lines = [_frame(page), *hands, *tasks, *(x for x in around if x), _limits(page)]
    first = "".join(f"{line}\n" for line in _alarms(page))
    body = "\n   ".join(lines)
    return f"{first}S: {told}\nO: {body}\nA: \nP: \n"


def _events(page: Page) -> str:
    """Say what is marked on the time axis; empty where nothing is."""
    told = [f"{o.when:%Y-%m-%d} {o.words}" for o in page.occasions if o.what != "new baseline"]
    return f"Events: {'; '.join(told)}." if told else ""


def _alarms(page: Page) -> list[str]:
    """Say every open alarm, and those of the latest visit and later that were seen."""
    last = max((v.when for v in page.rows.visits), default=None)
    recent = [a for a in page.rows.alarms if last is None or a.when >= last]
    return [
        *(f"ALARM, not acknowledged: {words}." for words in alarm_lines(page.rows.open_alarms)),
        *(f"{words}." for words in acknowledged_lines(recent)),
    ]


def _reported(page: Page) -> str:
    """Say the symptoms and the medicine of the latest visit; empty where nobody asked."""
    visits = page.rows.visits
    if not visits or not (visits[-1].symptoms or visits[-1].medication):
        return ""
    told = [f"{name} {most}/10" for name, most in visits[-1].symptoms.items() if most]
    symptoms = f"Reports {', '.join(told)}." if told else "Reports no symptoms."
    taken = MEDICATION.get(visits[-1].medication, "")
    return f"{symptoms if visits[-1].symptoms else ''} {taken}".strip()


def _home_exercise(page: Page) -> str:
    """Say what was reported of last week's home exercise; empty where nothing is known."""
    row = last_week(page)
    if row is None or row.told is None:
        return ""
    times = " time" if row.told == 1 else " times"
    planned = f" of {row.planned:g} planned times" if row.planned else times
    seen = f", {row.seen:g} seen by a device" if row.seen is not None else ""
    return f"Home exercise reported {row.told:g}{planned}{seen}, week from {row.week_from}."


def _frame(page: Page) -> str:
    visits = page.rows.visits
    days = f", {visits[0].when:%Y-%m-%d} to {visits[-1].when:%Y-%m-%d}" if visits else ""
    lines = [line for hand in page.hands if (line := page.headline(hand))]
    counted = max((len(_counting(line)) for line in lines), default=0)
    return (
        f"Tablet coordination test, self-administered, {counted} of {len(visits)} visits "
        f"count{days}."
    )


def _counting(line: Line) -> list[int]:
    return [s.reading.visit for s in line.shown if s.standing != "aside"]


def _hand(page: Page, line: Line) -> str:
    side = words.role_words(line.hand, page)
    name = f"{line.hand.capitalize()} hand" + (f" ({side})" if side else "")
    said = sentences.statement(line.measure.title.lower(), line.verdict)
    return f"{name}, {said}{_decided(line)}"


def _decided(line: Line) -> str:
    """Say the running mean that decided, after a verdict beyond error; else nothing."""
    if line.verdict.word != "beyond error":
        return ""
    since = words.since_words(line)
    mean = sentences.average_words(line.verdict)
    told = ", ".join(part for part in (mean, since) if part)
    return f" Decided by: {told}." if told else ""


def _task(line: Line) -> str:
    baseline, n = words.baseline_words(line)
    doubt = f" {told}" if (told := sentences.doubt_words(line.verdict)) else ""
    return (
        f"{line.hand.capitalize()}, {line.measure.title.lower()}: {words.latest_words(line)} "
        f"(baseline {baseline}, n={n}), {words.change_words(line)}, error band of one visit "
        f"{words.band_words(line)}: {words.short_words(line.verdict)}.{_decided(line)}{doubt}"
    )


def _limits(page: Page) -> str:
    lines = [line for hand in page.hands if (line := page.headline(hand))]
    told = [said for line in lines if (said := words.scatter_words(page, line))]
    error = [f"Error band {told[0]}."] if told else []
    return " ".join([*error, *words.outside_words(page), "Not a diagnosis."])
