"""Every text is in every language, with the same blanks, and nothing is shown in another."""

import random
import string

import pytest
from babel import Locale
from babel.messages.mofile import read_mo
from babel.numbers import format_decimal

from battery.errors import UsageError
from battery.looks import OWN_NAMES
from battery.stage.language import make_catalogues, texts
from battery.stage.language.languages import ENGLISH, Text, language
from tests.screen.languages import LONG, LONGER

TRANSLATED = sorted(set(OWN_NAMES) - {ENGLISH.code})
# Words that German writes as English does.
SAME = {
    "de": {
        "April",
        "August",
        "September",
        "November",
        "Start",
        "{name}: {value}",
        "{first}, {second}",
        "{hand}: {numbers}",
        "{task} {value} {unit}",
    }
}


def sentences(value):
    """Every string in a value of the module of texts."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for part in value.values():
            yield from sentences(part)
    elif isinstance(value, (tuple, frozenset)):
        for part in value:
            yield from sentences(part)


def all_texts():
    return [
        text
        for name, value in vars(texts).items()
        if name.isupper()
        for text in sentences(value)
    ]


def blanks(message):
    return sorted(name for _, name, _, _ in string.Formatter().parse(message) if name)


def test_every_sentence_is_marked_for_the_catalogue():
    marked = {message.id for message in make_catalogues.template() if message.id}
    assert len(marked) > 60
    for text in all_texts():
        assert isinstance(text, Text), text
        assert text in marked, text


@pytest.mark.parametrize("code", TRANSLATED)
def test_a_catalogue_has_every_text_and_no_other(code):
    catalogue = make_catalogues.read(code)
    wanted = {message.id for message in make_catalogues.template() if message.id}
    held = {message.id: message for message in catalogue if message.id}
    assert set(held) == wanted
    assert not catalogue.obsolete
    for source, message in held.items():
        assert message.string.strip(), source
        assert not message.fuzzy, source
        assert blanks(message.string) == blanks(source), source
        assert (message.string == source) == (source in SAME[code]), source
        assert message.string == message.string.strip(), source


@pytest.mark.parametrize("code", TRANSLATED)
def test_the_compiled_catalogue_is_that_of_the_translator(code):
    with make_catalogues.po_path(code).with_suffix(".mo").open("rb") as file:
        compiled = {m.id: m.string for m in read_mo(file) if m.id}
    assert compiled == {m.id: m.string for m in make_catalogues.read(code) if m.id}
    spoken = language(code)
    for message in make_catalogues.read(code):
        if message.id and not blanks(message.id):
            assert spoken.say(Text(message.id)) == message.string


@pytest.mark.parametrize("code", sorted(OWN_NAMES))
def test_names_of_languages_days_and_months_are_those_of_the_trade(code):
    """Unicode CLDR, as Babel carries it: the language's own name, its days and months, and
    the way it is read.
    """
    locale = Locale.parse(code)
    spoken = language(code)
    assert locale.get_language_name(code) == spoken.own_name
    assert locale.text_direction == spoken.direction
    assert [spoken.say(day) for day in texts.DAYS] == [
        name for _, name in sorted(locale.days["format"]["wide"].items())
    ]
    assert [spoken.say(month) for month in texts.MONTHS] == [
        name for _, name in sorted(locale.months["format"]["wide"].items())
    ]


def test_words_in_a_sentence_are_translated_too():
    german = language("de")
    words = {"name": texts.NAMES["slide"], "hand": texts.HANDS["left"]}
    title = texts.PRACTICE_TITLE.format(**words)
    assert title == "Sliding: your LEFT hand"
    assert german.say(title) == "Schieben: Ihre LINKE Hand"
    line = texts.REST_LINES[0].format(done=2, all=8)
    assert german.say(line) == "Teil 2 von 8 ist fertig."
    assert german.say("K7QF") == "K7QF"


@pytest.mark.parametrize("code", OWN_NAMES)
def test_numbers_have_the_decimal_sign_of_the_language(code):
    """Of the Unicode Common Locale Data Repository, as Babel has it."""
    told = texts.number_words("1.5")
    text = texts.HOME_PLAN_LINE.format(
        name="", arms="", minutes=told, times="", days="", target="", weight=""
    )
    assert format_decimal(1.5, locale=code) in language(code).say(text)
    assert texts.number_words("10") == "10"


def test_a_text_with_positions_for_blanks_is_refused():
    with pytest.raises(ValueError, match="have names"):
        Text("{code}").format("K7QF")


def test_an_unknown_language_is_one_line_with_the_way_out():
    with pytest.raises(UsageError, match=r"'xx'.*de \(Deutsch\).*Nothing was changed"):
        language("xx")


def test_the_made_up_language_is_as_long_as_it_says():
    for text in random.Random(1).sample(all_texts(), 40):
        assert len(LONG.catalogue.gettext(text)) >= LONGER * len(text) - 1
        assert blanks(LONG.catalogue.gettext(text)) == blanks(text)
