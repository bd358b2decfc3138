"""The desk in German: every text is translated, and a page shows it."""

import gettext

from battery.cautions import CONTRAINDICATIONS
from battery.desk import told_tables
from battery.desk.make_catalogue import texts
from battery.desk.retelling import retold
from battery.desk.words import BY_NAME, CATALOGUES, catalogue
from battery.export.dictionary.all_tables import TABLES
from battery.people import PICTURES
from battery.report.caseload import STATES
from battery.store.rows.said_later import MarkerKind
from tasks.registry import TASKS
from tests.desk.office import Desk


def german_of(text, pair):
    if isinstance(pair, tuple):
        return catalogue("de").ngettext(*pair, 2)
    return catalogue("de").gettext(text)


def test_every_text_is_translated_with_its_blanks():
    """If not: ``python -m battery.desk.make_catalogue``, then the German."""
    told = texts()
    assert len(told) > 400
    german = {text: german_of(text, pair) for text, pair in told.items()}
    same = {"Alarm:", "Code", "Export", "Hand", "Person", "Plan", "Tablet"}
    alike = [text for text, said in german.items() if said in ("", text)]
    assert [text for text in alike if text not in same] == []
    assert [t for t, said in german.items() if said.count("%(") != t.count("%(")] == []


def test_what_is_compiled_is_what_the_translator_sees():
    path = CATALOGUES / "de" / "LC_MESSAGES" / "desk.mo"
    with path.open("rb") as file:
        assert gettext.GNUTranslations(file).gettext("Today") == "Heute"


def test_words_that_come_from_elsewhere_are_all_known():
    told = [*MarkerKind.__args__, *STATES, *PICTURES, *TASKS, *CONTRAINDICATIONS.values()]
    assert set(told) <= set(BY_NAME)


def test_what_an_export_lists_is_told_in_words():
    """A table that is added later stands in `told_tables`, and has its German."""
    assert {table.title for table in TABLES.values()} <= set(told_tables.WHOLE)
    assert retold("Home plans (home_plans): 3", "de") == "Pläne für zu Hause (home_plans): 3"
    assert retold("motion files: 12", "de") == "Bewegungsdateien: 12"


def test_a_page_speaks_the_language_of_the_browser(tmp_path):
    desk = Desk(tmp_path)
    desk.client.headers["accept-language"] = "de-CH,de;q=0.9,en;q=0.8"
    assert "Wer sind Sie?" in desk.get("/").text
    assert "<h1>Heute</h1>" in desk.come_in().text
