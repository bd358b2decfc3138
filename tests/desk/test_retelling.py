"""What list and page say is told in German, whole: every verdict, flag and alarm there is."""

import itertools
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from battery.alarms import SAID
from battery.cautions import CONTRAINDICATIONS
from battery.desk.make_catalogue import texts
from battery.desk.retelling import FORMS, retold
from battery.desk.screens.today import in_few
from battery.desk.words import catalogue
from battery.report.alarming import alarm_lines
from battery.report.caseload import caseload
from battery.report.hand_words import hands_told
from battery.report.words import both_hands, short_words
from battery.scoring.flags import AGAINST, FLAGS
from battery.store import Store
from norms.series import WORDS
from norms.verdict import Verdict
from tests import report_cases
from tests.desk.office import NOW, Desk
from tests.sparing import share

SEEN = (
    "a fall; acknowledged by AB on 2026-03-20",
    "a fall; acknowledged by AB on 2026-03-20: ok",
)
ALARMS = [
    *(f"{what} rose by 4" for what in SAID.values()),
    *(f"{what} 9 of 10" for what in SAID.values()),
    "a new emergency sign was answered yes",
    "a new emergency sign was answered yes, then no",
    "ended unwell",
    "what rose the time before had not settled",
    "a fall",
    "strong symptoms before home exercise",
    "strong symptoms after home exercise",
    "consent to research use is withdrawn",
    *(f"ask a clinician first: {what}" for what in CONTRAINDICATIONS.values()),
    *(f"ask a clinician first: not known whether {w}" for w in CONTRAINDICATIONS.values()),
]


@pytest.fixture(scope="module")
def of_the_desk():
    """Every text of the desk; to find them reads all its modules and templates."""
    return texts()


def told(text):
    """Return a text in German, of which nothing may be left as it was."""
    unknown = []
    german = retold(text, "de", unknown.append)
    assert unknown == [], text
    return german


@pytest.mark.parametrize(
    ("error", "german"),
    [
        (
            "'study' is not the full path of a folder; nothing was written",
            "'study' ist nicht der vollständige Pfad eines Ordners; nichts wurde geschrieben",
        ),
        (
            "2027-01-01 is still to come; say it on that day. Nothing was stored",
            "2027-01-01 kommt erst noch; tragen Sie es an dem Tag ein. "
            "Nichts wurde gespeichert",
        ),
        (
            "the names are closed; open them on the screen Clinic. Nothing was changed",
            "die Namen sind verschlossen; öffnen Sie sie auf der Seite „Praxis“. "
            "Nichts wurde geändert",
        ),
    ],
)
def test_an_error_is_told_whole(error, german):
    assert told(error) == german


def test_words_of_somebody_within_an_error_stay_as_typed():
    assert told("'better' is not a day; nothing was written").startswith("'better' ist kein")


# Of what is to be typed into a terminal, and how many there were: nobody at the desk needs it.
LEFT_UNSAID = (
    "no key here yet; run {q} first",
    "should have at most {m} items",
    "should have at least {m} item",
    "gave no consent to research use",
)


def blanks(form):
    return set(re.findall(r"\{(\w+)\}", form))


def test_every_form_keeps_its_blanks(of_the_desk):
    for form in FORMS:
        german = catalogue("de").gettext(form)
        if any(said in form for said in LEFT_UNSAID):
            assert blanks(german) < blanks(form), form
        else:
            assert blanks(german) == blanks(form), form
        assert form in of_the_desk or german == form


def test_every_verdict_of_the_list():
    words = ("beyond error", "possible, repeat", "within error", "withheld")
    sides = itertools.product(words, (True, False, None), (True, False))
    for word, better, learning in sides:
        verdict = Verdict(word, "not done yet", better=better, learning=learning)
        for hand in ("left", "right"):
            german = told(f"{hand}: {short_words(verdict)}")
            assert german.startswith({"left": "links: ", "right": "rechts: "}[hand])
            assert ("besser" in german) == ("better" in short_words(verdict))
            assert ("schlechter" in german) == ("worse" in short_words(verdict))


def test_every_flag_by_name_and_as_a_reason():
    for name, flag in FLAGS.items():
        if flag.effect != "shown":
            told(name.replace("_", " "))
        if flag.effect in AGAINST:
            told(flag.says)
            told(f"{flag.says}; {FLAGS['few_trials'].says}")
    told("left out by AB: the tablet fell; then rose by 3")


@pytest.mark.parametrize("words", SEEN)
def test_an_alarm_that_was_seen(words):
    assert "zur Kenntnis genommen von AB am 2026-03-20" in told(f"2026-03-20: {words}")


@pytest.mark.parametrize("words", ALARMS)
def test_every_alarm(words):
    assert told(f"visit 7, 2026-12-01: {words}").startswith("Termin 7, 2026-12-01: ")
    assert told(f"2026-12-01: {words}; ended unwell").endswith("; endete mit Unwohlsein")
    told(f"K7QF, 2026-12-01: {words}, in a bundle that waits")


def test_every_reason_of_a_new_series():
    for why in WORDS.values():
        reason = f"new series, {why}: 2 of the 6 visits that make the baseline"
        assert "2 der 6 Termine" in told(f"not enough comparable visits ({reason})")


@pytest.mark.parametrize("name", share(sorted(report_cases.CASES), 6))
def test_what_the_first_sheet_says_of_each_hand(name):
    page = report_cases.page_of(name)
    for hand in hands_told(page):
        assert told(hand.title).startswith(("Linke Hand", "Rechte Hand"))
        told(hand.big)
        for sentence in hand.sentences:
            german = told(sentence)
            assert ("schlechter" in german) == ("worse" in sentence)
    told(both_hands(page)) if both_hands(page) else None
    for line in alarm_lines(page.rows.open_alarms):
        told(line)


def test_words_of_a_person_stay_as_they_are():
    note = "in the yard; better, worse 9 of 10 rose by 3"
    assert retold(f"2026-12-01: fall: {note}", "de") == f"2026-12-01: Sturz: {note}"
    assert retold("a sentence nobody knows: better", "de") == "a sentence nobody knows: better"
    assert retold("better", "en") == "better"


@given(st.text(max_size=200))
def test_whatever_is_said_is_told_in_time(text):
    """Nested forms are many; each part is taken apart once."""
    retold("possibly better; worse, " * 8 + text, "de")


def test_a_german_desk_says_verdicts_in_german(own_clinic):
    desk = Desk(own_clinic)
    desk.client.headers["accept-language"] = "de"
    desk.come_in()
    with Store.open(own_clinic, write=False) as store:
        rows = caseload(store, now=NOW)
    listed = desk.get("/").text
    for text in {
        said for row in rows for said in (*in_few(row.hands), *row.flags, *row.alarms)
    }:
        assert told(text) in listed
    assert "Das Blatt" not in listed
    assert "Was die Seite sagt" in desk.get("/person/K7QF").text
    desk.client.headers["accept-language"] = "en"
    assert "What the page says" not in desk.get("/person/K7QF").text
