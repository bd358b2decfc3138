"""A desk over a real store: the whole application behind its guard, its clock told."""

from datetime import datetime, timedelta
from itertools import count

from starlette.testclient import TestClient

from battery.desk.app import make_app
from battery.desk.frame import Office
from battery.desk.guard import Guard, Secrets
from battery.desk.session import Session

NOW = datetime.fromisoformat("2026-12-04T10:00:00+00:00")
PORT = 40321
OWN = f"http://127.0.0.1:{PORT}"


class Desk:
    """A desk over a store, and a browser that is in."""

    def __init__(self, home, now=NOW):
        self.now_s = 0.0
        ticks = count()  # no two things are said in the same moment
        self.ended = []
        self.known = Secrets()
        self.office = Office(
            home, self.known, lambda: self.ended.append(1),
            wall=lambda: now + timedelta(microseconds=next(ticks)),
            session=Session(lambda: self.now_s),
        )  # fmt: skip
        guarded = Guard(make_app(self.office), port=PORT, known=self.known)
        self.client = TestClient(guarded, base_url=OWN, raise_server_exceptions=False)
        self.client.get(f"/enter?secret={self.known.entry}")

    def get(self, path):
        return self.client.get(path)

    def send(self, path, fields=None, **more):
        told = {"form_secret": self.known.form, **(fields or {}), **more}
        return self.client.post(path, data=told, headers={"origin": OWN})

    def knock(self, path, fields=None, **more):
        """Send a form and follow nowhere; the answer alone."""
        told = {"form_secret": self.known.form, **(fields or {}), **more}
        return self.client.post(
            path, data=told, headers={"origin": OWN}, follow_redirects=False
        )

    def come_in(self, initials="AB", code="2468"):
        return self.send("/door", initials=initials, code=code, again=code)
