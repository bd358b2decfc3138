"""Speaks to a desk that runs by bare sockets, so that no library puts anything right."""

import re
import socket
import sqlite3
from urllib.parse import urlencode

KEPT = 'INSERT INTO "kept_readings"'


class Stranger:
    """Speaks to the desk by bare sockets, with what a browser that is in would send."""

    def __init__(self, process, address, home, wait_s=20):
        self.wait_s = wait_s
        self.process, self.home = process, home
        self.port = int(re.search(r":(\d+)/", address)[1])
        self.own = f"http://127.0.0.1:{self.port}"
        self.headers = {"Host": f"127.0.0.1:{self.port}", "Origin": self.own}
        entered = self.ask("GET", address.removeprefix(self.own))
        self.headers["Cookie"] = re.search(r"set-cookie: ([^;]+)", entered)[1]
        self.secret = re.search(
            r'name="form_secret" value="([^"]+)"', self.ask("GET", "/door")
        )[1]
        code = {"initials": "AB", "code": "2468", "again": "2468"}
        assert status(self.post("/door", code)) == 303

    def ask(self, method, path, headers=None, body=b"", lines=()):
        """Send a request whose headers are changed (None: left out) and return the answer."""
        told = {**self.headers, **(headers or {})}
        if body:
            told = {
                "Content-Type": "application/x-www-form-urlencoded",
                "Content-Length": str(len(body)), **told,
            }  # fmt: skip
        head = [f"{method} {path} HTTP/1.1"]
        head += [f"{name}: {value}" for name, value in told.items() if value is not None]
        return self.raw(
            "\r\n".join([*head, *lines, "Connection: close", "", ""]).encode() + body
        )

    def raw(self, sent):
        """Send bytes as they are and return what comes back before the desk hangs up."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=self.wait_s) as line:
            try:
                line.sendall(sent)
                got = b""
                while part := line.recv(65_536):
                    got += part
            except (ConnectionError, TimeoutError):
                return ""
        return got.decode("utf-8", errors="replace")

    def begin(self, path, fields):
        """Send a form and do not wait for what comes back; gives the line, to be closed."""
        body = urlencode({"form_secret": self.secret, **fields}).encode()
        told = {
            **self.headers, "Content-Type": "application/x-www-form-urlencoded",
            "Content-Length": str(len(body)),
        }  # fmt: skip
        head = [f"POST {path} HTTP/1.1", *(f"{name}: {value}" for name, value in told.items())]
        line = socket.create_connection(("127.0.0.1", self.port), timeout=self.wait_s)
        line.sendall("\r\n".join([*head, "Connection: close", "", ""]).encode() + body)
        return line

    def post(self, path, fields, headers=None, secret=None, lines=()):
        given = self.secret if secret is None else secret
        body = urlencode({"form_secret": given, **fields}).encode()
        return self.ask("POST", path, headers, body, lines)

    def stored(self):
        """Everything that is in the store, as text, but what the desk keeps of its reading."""
        with sqlite3.connect(f"file:{self.home / 'battery.sqlite'}?mode=ro", uri=True) as held:
            return "\n".join(line for line in held.iterdump() if KEPT not in line)


def status(answer):
    return int(answer.split(" ", 2)[1]) if answer.startswith("HTTP/") else 0
