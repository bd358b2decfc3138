"""Attacks on the running desk over bare sockets: all are refused, and nothing is written.

Every attack changes one thing in a request that is taken; the last test sends that request.
What it stands on is named in `battery.desk.guard`; request syntax by RFC 9112 (HTTP/1.1),
paths by RFC 3986.
"""

import random
import re
import select
import shutil
from urllib.parse import urlencode

import psutil
import pytest

from battery.desk.guard import MAX_FORM_BYTES
from tests.desk.browsing import open_desk
from tests.desk.sockets import Stranger, status

SAID = {"kind": "fall", "note": "in the bath", "day": "2026-03-20"}
TARGET = "/person/K7QF/say/event"
N_ODD = 100
N_ODD_LONG = 10_000
MAX_GROWN_MB = 10  # of the desk's memory over all odd requests, however many


@pytest.fixture(scope="module")
def stranger(clinic, tmp_path_factory):
    home = shutil.copytree(clinic, tmp_path_factory.mktemp("attacked") / "clinic")
    with open_desk(home) as (process, address):
        yield Stranger(process, address, home)


@pytest.fixture
def unchanged(stranger):
    """Whatever is tried, the store is afterwards as it was and the desk still there.

    It has said nothing either: a full pipe that nobody reads would stop it.
    """
    before = stranger.stored()
    yield
    assert stranger.stored() == before
    assert stranger.process.poll() is None
    assert select.select([stranger.process.stderr], [], [], 0)[0] == []


HEADERS = {
    "a foreign host": {"Host": "desk.example"},
    "a host that was made to point here": {"Host": "localhost:{port}"},
    "the host of another port": {"Host": "127.0.0.1:1"},
    "a host without its port": {"Host": "127.0.0.1"},
    "the host by another spelling": {"Host": "127.1:{port}"},
    "the host of all addresses": {"Host": "0.0.0.0:{port}"},
    "no host": {"Host": None},
    "no origin": {"Origin": None},
    "a foreign origin": {"Origin": "http://evil.example"},
    "the origin of another port": {"Origin": "http://127.0.0.1:1"},
    "the origin of a file or a frame shut in": {"Origin": "null"},
    "an origin by another scheme": {"Origin": "https://127.0.0.1:{port}"},
    "an origin that only begins so": {"Origin": "http://127.0.0.1:{port}.evil.example"},
    "a page of the same site": {"Sec-Fetch-Site": "same-site"},
    "a page of another site": {"Sec-Fetch-Site": "cross-site"},
    "no cookie": {"Cookie": None},
    "a guessed cookie": {"Cookie": "desk-{port}=guess"},
    "the cookie of another port": {"Cookie": "desk-1=guess"},
    "an endless length": {"Content-Length": "9" * 19},
    "a length with zeros before it": {"Content-Length": f"{MAX_FORM_BYTES * 2:019d}"},
    "a negative length": {"Content-Length": "-1"},
}


@pytest.mark.usefixtures("unchanged")
@pytest.mark.parametrize("name", HEADERS)
def test_a_request_from_elsewhere_is_refused(stranger, name):
    told = {
        key: value and value.replace("{port}", str(stranger.port))
        for key, value in HEADERS[name].items()
    }
    answer = stranger.post(TARGET, SAID, told)
    assert status(answer) in (400, 403, 413, 421)
    assert "Traceback" not in answer


@pytest.mark.usefixtures("unchanged")
@pytest.mark.parametrize("line", ["Host: evil.example", "Origin: http://evil.example"])
def test_a_header_told_twice_is_refused(stranger, line):
    assert status(stranger.post(TARGET, SAID, lines=[line])) in (400, 403, 421)


@pytest.mark.usefixtures("unchanged")
@pytest.mark.parametrize("secret", ["", "guess", "ä", "\0", "a" * 5000])
def test_a_form_without_the_secret_is_refused(stranger, secret):
    assert status(stranger.post(TARGET, SAID, secret=secret)) == 403


@pytest.mark.usefixtures("unchanged")
def test_a_form_read_out_by_an_address_is_refused(stranger):
    told = urlencode({"form_secret": stranger.secret, **SAID})
    assert status(stranger.ask("GET", f"{TARGET}?{told}")) in (404, 405)
    body = urlencode(SAID).encode()
    assert status(stranger.ask("POST", f"{TARGET}?{told}", body=body)) == 403


@pytest.mark.usefixtures("unchanged")
@pytest.mark.parametrize(
    "method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "get", "X" * 99]
)
def test_other_methods_are_refused(stranger, method):
    assert status(stranger.ask(method, "/")) in (400, 405)


PATHS = (
    "/static/../app.py", "/static/%2e%2e/app.py", "/static/..%2fapp.py",
    "/static/%252e%252e/app.py", "/static/..\\app.py", "/static//etc/passwd",
    "/static/%00", "/../../../../etc/passwd", "//etc/passwd", "/battery.sqlite", "/desk.html",
    "/person/../../etc/passwd", "/person/%2e%2e%2fbattery.sqlite/page", "/card/%00",
    "/person/K7QF%00/page", "/out/..%2f..%2fetc%2fpasswd", "/person/K7QF'--/page",
    "/person/" + "A" * 5000, "/person/%ff%fe/page", "http://evil.example/", "*",
)  # fmt: skip


@pytest.mark.usefixtures("unchanged")
@pytest.mark.parametrize("path", PATHS)
def test_no_path_leads_out_of_the_desk(stranger, path):
    answer = stranger.ask("GET", path)
    assert status(answer) in (400, 403, 404)
    assert "Traceback" not in answer
    for inside in ("import ", "root:", "SQLite format", "secret="):
        assert inside not in answer.split("\r\n\r\n", 1)[-1]


ODD = (
    "",
    "\0",
    "'",
    '"',
    "..",
    "%",
    "é",
    "✋",
    "-1",
    "1e999",
    "nan",
    "A" * 300,
    "{{7*7}}",
    "\r\n",
    "K7QF",
)
KNOWN = (
    "/", "/door", "/look", "/enrol", "/start", "/exchange", "/exchange/receive",
    "/exchange/choose", "/exchange/keys", "/exchange/drop", "/out", "/clinic",
    "/clinic/limits", "/clinic/backup",
    "/clinic/repeats", "/clinic/repeats/error", "/clinic/repeats/take-back", "/log",
    "/person/{}", "/person/{}/page", "/person/{}/visits", "/person/{}/visits/{}",
    "/person/{}/say/{}", "/card/{}", "/static/{}",
)  # fmt: skip
FIELDS = (
    "kind", "note", "day", "goal", "goal_id", "level", "per_week", "from_visit", "reason",
    "state", "target", "alarm", "what", "block", "person", "item", "folder", "file", "action",
    "code", "initials", "pain", "language", "theme", "then",
    "measure", "size", "people", "source", "plan",
)  # fmt: skip


def odd_requests(stranger, n, seed):
    """Send requests that no browser of the desk sends; the secret of its forms is not known."""
    chance = random.Random(seed)
    for _ in range(n):
        path = re.sub(
            r"\{\}", lambda _m: urlencode({"": chance.choice(ODD)})[1:], chance.choice(KNOWN)
        )
        fields = {chance.choice(FIELDS): chance.choice(ODD) for _ in range(chance.randrange(5))}
        kind = chance.randrange(4)
        if kind == 0:
            answer = stranger.ask("GET", f"{path}?{urlencode(fields)}")
        elif kind == 1:
            answer = stranger.post(path, fields, secret=chance.choice(ODD))
        elif kind == 2:
            body = chance.randbytes(chance.randrange(1, 400))
            edge = chance.choice(["b", "", "x" * 80])
            told = {"Content-Type": f"multipart/form-data; boundary={edge}"}
            answer = stranger.ask("POST", path, told, body)
        else:
            answer = stranger.raw(chance.randbytes(chance.randrange(1, 400)) + b"\r\n\r\n")
        assert status(answer) < 500
        assert "Traceback" not in answer


@pytest.mark.usefixtures("unchanged")
@pytest.mark.parametrize("text", ["%3Cb%3Ebold", "%25s", "%25(x)s", "{{7*7}}"])
def test_a_text_in_a_path_is_only_a_text(stranger, text):
    answer = stranger.ask("GET", f"/person/{text}/visits")
    assert status(answer) == 400
    assert "<b>" not in answer
    assert "49" not in answer.split("<main")[1].split("</main>")[0]


@pytest.mark.usefixtures("unchanged")
def test_odd_requests_change_nothing(stranger):
    looked_at(stranger)
    odd_requests(stranger, N_ODD, seed=1)
    assert grown_mb(stranger, lambda: odd_requests(stranger, N_ODD // 4, seed=3)) < MAX_GROWN_MB


@pytest.mark.long
@pytest.mark.timeout(1800)  # three minutes where nothing else runs
@pytest.mark.usefixtures("unchanged")
def test_ten_thousand_odd_requests_change_nothing(stranger):
    looked_at(stranger)
    odd_requests(stranger, N_ODD, seed=1)
    assert grown_mb(stranger, lambda: odd_requests(stranger, N_ODD_LONG, seed=2)) < MAX_GROWN_MB


def looked_at(stranger):
    """Ask for every page once, so that what is read and loaded once is there."""
    for path in KNOWN:
        assert status(stranger.ask("GET", path.format("K7QF", "1"))) < 500


def grown_mb(stranger, work):
    """How much the desk has grown meanwhile."""
    desk = psutil.Process(stranger.process.pid)
    before = desk.memory_info().rss
    work()
    return (desk.memory_info().rss - before) / 2**20


@pytest.mark.usefixtures("unchanged")
@pytest.mark.parametrize(
    "what",
    ["event", "goal", "home-plan", "rating", "baseline", "state", "take-back", "no"],
)
@pytest.mark.parametrize(
    "value", ["\0", "\ud800".encode("utf-8", "surrogatepass"), "1e999", "nan", "9" * 400]
)
def test_odd_words_in_the_desks_own_forms_are_one_calm_line(stranger, what, value):
    """Even with every secret: no field may end in a trace or in a store nobody can read."""
    fields = dict.fromkeys(
        ("kind", "day", "level", "per_week", "from_visit", "state", "target", "goal_id"), value
    )
    answer = stranger.post(f"/person/K7QF/say/{what}", {**fields, "goal": "", "reason": "odd"})
    assert status(answer) == 400
    assert "Traceback" not in answer


def test_the_request_that_all_of_them_bend_is_taken(stranger):
    before = stranger.stored()
    assert status(stranger.post(TARGET, SAID)) == 303
    assert "in the bath" in stranger.stored().replace(before, "")
