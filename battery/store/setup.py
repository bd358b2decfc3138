"""What there is to work with: devices and their checks, plans, the clinic's settings."""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping
from dataclasses import asdict
from functools import partial
from typing import Any, Literal

from sqlalchemy import Connection, Executable, Table, insert, select
from sqlalchemy.dialects import postgresql, sqlite

from battery.errors import UsageError
from battery.recording import Device, Screen
from battery.store import rebuild, schema
from battery.store.base import UNREADABLE, Connected, ascii_only
from battery.store.fitting import fitted
from battery.store.rows.device_checks import LoopCheck, ScreenCheck, TimingCheck
from battery.store.settings import hold_setting, read_setting

SETTINGS_KEY = 0x_C00D_0004
UNREADABLE_SETTING = "unreadable"


def _put_or_replace(
    connection: Connection, table: Table, key: str, value: str, text: str
) -> Executable:
    """Return the statement that puts a text under a key; the same twice at once is no error."""
    dialect = postgresql if connection.dialect.name == "postgresql" else sqlite
    put = dialect.insert(table).values(**{key: value, "json": text})
    done: Executable = put.on_conflict_do_update(index_elements=[key], set_={"json": text})
    return done


def _wait_for_others(connection: Connection) -> None:
    if connection.dialect.name == "postgresql":
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({SETTINGS_KEY})")


def _is_whole(name: str, text: str) -> bool:
    try:
        return not read_setting(name, text)[1]
    except UNREADABLE:
        return False


def _hold_to_form(name: str, value: Any) -> None:
    try:
        _, problems = hold_setting(name, value)
    except ValueError as error:
        problems = [str(error)]
    if problems:
        msg = f"setting {name}: {problems[0]}. Nothing was changed"
        raise UsageError(msg)


class Setup(Connected):
    """Devices and the checks of them, plans, settings."""

    def put_device(self, device: Device) -> None:
        """Remember a device under its alias, in place of what was known of it."""
        self._put(schema.devices, "alias", device.alias, json.dumps(asdict(device)))

    def devices(self) -> list[Device]:
        """List the devices as last seen."""
        query = select(schema.devices).order_by(schema.devices.c.alias)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, lambda r: rebuild.device(r["json"]), "device", "alias")

    def device(self, alias: str) -> Device | None:
        """Return a device as last seen; None if the alias is new."""
        text = self._get(schema.devices, "alias", alias)
        return None if text is None else rebuild.device(text)

    def put_plan(self, plan_hash: str, content: Mapping[str, Any]) -> None:
        """Remember a plan under its hash; one that is known stays as it is."""
        if self._get(schema.plans, "plan_hash", plan_hash) is None:
            self._put(schema.plans, "plan_hash", plan_hash, json.dumps(content, sort_keys=True))

    def plans(self) -> dict[str, dict[str, Any]]:
        """Return all plans by their hash, in order of the hash."""
        query = select(schema.plans).order_by(schema.plans.c.plan_hash)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        pairs = self._built(
            rows, lambda r: (r["plan_hash"], dict(json.loads(r["json"]))), "plan", "plan_hash"
        )
        return dict(pairs)

    def put_setting(self, name: str, value: Any) -> None:
        """Keep a setting of the clinic in place of an earlier one.

        Raises
        ------
        UsageError
            If it does not have the form of a setting of this name.
        """
        _hold_to_form(name, value)
        with self._writing() as connection:
            self._replace(connection, name, json.dumps(value, sort_keys=True))

    def add_to_setting(self, name: str, value: Any) -> None:
        """Add a value to a setting that is a list, where it is not in it.

        Of two programs that do so at once neither loses the other's.

        Raises
        ------
        UsageError
            If it does not have the form of a setting of this name.
        """
        _hold_to_form(name, [value])
        table = schema.settings
        with self._writing() as connection:
            _wait_for_others(connection)
            held = connection.execute(select(table.c.json).where(table.c.name == name)).scalar()
            values = self._read_setting(name, held or "[]", [])
            if value not in values:
                self._replace(connection, name, json.dumps(sorted([*values, value])))

    def wait_for_others(self) -> None:
        """Let nobody else change settings that are read and written inside `together`.

        On SQLite nobody else writes in the meantime anyway.
        """
        with self._writing() as connection:
            _wait_for_others(connection)

    def _replace(self, connection: Connection, name: str, text: str) -> None:
        """Put a setting; one that could not be read whole stays beside it as it was."""
        table = schema.settings
        held = connection.execute(select(table.c.json).where(table.c.name == name)).scalar()
        if held is not None and not _is_whole(name, held):
            aside = f"{UNREADABLE_SETTING}.{name}"
            connection.execute(_put_or_replace(connection, table, "name", aside, held))
        connection.execute(_put_or_replace(connection, table, "name", name, text))

    def setting(self, name: str, default: Any = None) -> Any:
        """Return a setting of the clinic, or `default` where there is none.

        What of it does not have the form of its name is left out, and named.
        """
        text = self._get(schema.settings, "name", name)
        return default if text is None else self._read_setting(name, text, default)

    def _read_setting(self, name: str, text: str, default: Any) -> Any:
        try:
            told, problems = read_setting(name, text)
        except UNREADABLE as error:
            told, problems = default, [str(error)]
        for problem in problems[:1]:
            self.left_out(
                f"setting {ascii_only(name)[:60]}",
                f"it cannot be read, and was left out: {problem}",
            )
        return told

    def settings_of(self, name: str) -> dict[str, Any]:
        """Return what is kept under a name for each person, by code; unreadable ones are noted.

        Parameters
        ----------
        name : str
            Of the clinic's setting, of which each person's own has the code behind a colon.
        """
        query = select(schema.settings).where(
            schema.settings.c.name.startswith(f"{name}:", autoescape=True)
        )
        with self._reading() as connection:
            rows = connection.execute(query).all()
        empty: dict[str, Any] = {}
        return {
            row.name.partition(":")[2]: self._read_setting(row.name, row.json, empty)
            for row in sorted(rows, key=lambda row: str(row.name))
        }

    def all_settings(self) -> list[Any]:
        """Read every setting, so that what cannot be read is noted; return what could be."""
        with self._reading() as connection:
            names = connection.execute(select(schema.settings.c.name)).scalars().all()
        aside = f"{UNREADABLE_SETTING}."
        return [
            self.setting(str(n)) for n in sorted(map(str, names)) if not n.startswith(aside)
        ]

    def put_screen_check(
        self, device: str, screen: Screen, source: Literal["card", "ruler"], *, at_utc: str
    ) -> ScreenCheck:
        """Keep a measurement of a screen of a device that is known."""
        check = ScreenCheck(
            str(uuid.uuid4()),
            device,
            screen.width_px,
            screen.height_px,
            screen.mm_per_px_x,
            screen.mm_per_px_y,
            source,
            at_utc,
        )
        with self._writing() as connection:
            connection.execute(insert(schema.screen_checks).values(**asdict(check)))
        return check

    def screen_checks(self, device: str | None = None) -> list[ScreenCheck]:
        """List measurements of screens in order of time, of one device or of all."""
        table = schema.screen_checks
        query = select(table).order_by(table.c.at_utc, table.c.check_id)
        if device is not None:
            query = query.where(table.c.device == device)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, partial(fitted, ScreenCheck), "check", "check_id")

    def put_timing_check(self, check: TimingCheck) -> None:
        """Keep a check of a device that is known."""
        with self._writing() as connection:
            connection.execute(insert(schema.timing_checks).values(**asdict(check)))

    def timing_checks(self, device: str | None = None) -> list[TimingCheck]:
        """List checks of pointers and pictures in order of time, of one device or of all."""
        table = schema.timing_checks
        query = select(table).order_by(table.c.at_utc, table.c.check_id)
        if device is not None:
            query = query.where(table.c.device == device)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, partial(fitted, TimingCheck), "check", "check_id")

    def put_loop_check(self, check: LoopCheck) -> None:
        """Keep what was filmed of a device that is known."""
        with self._writing() as connection:
            connection.execute(insert(schema.loop_checks).values(**asdict(check)))

    def loop_checks(self, device: str | None = None) -> list[LoopCheck]:
        """List what was filmed of delays in order of time, of one device or of all."""
        table = schema.loop_checks
        query = select(table).order_by(table.c.at_utc, table.c.check_id)
        if device is not None:
            query = query.where(table.c.device == device)
        with self._reading() as connection:
            rows = connection.execute(query).mappings().all()
        return self._built(rows, partial(fitted, LoopCheck), "check", "check_id")

    def _get(self, table: Table, key: str, value: str) -> str | None:
        query = select(table.c.json).where(table.c[key] == value)
        with self._reading() as connection:
            return connection.execute(query).scalar()

    def _put(self, table: Table, key: str, value: str, text: str) -> None:
        with self._writing() as connection:
            connection.execute(_put_or_replace(connection, table, key, value, text))
