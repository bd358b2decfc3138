"""A signed export in which every table has a row."""

from datetime import date

import pytest

from battery.export import export_tidy
from battery.handover.keys import clinic_signature, make_clinic_keys
from battery.home_plan import Dose, set_home_plan
from battery.plan import SHORT
from battery.simulate import Person as Simulated
from battery.simulate import Truth
from battery.store import HomeExercise, LoopCheck, Store, TimingCheck
from tests import clinic as made_up
from tests import store_kit as kit
from tests.export_kit import EVERYBODY, NOW

AT = "2026-05-01T10:00:00+00:00"
BAND = {
    "measure": "tapping.radial_error_mm", "hand": "right", "log_scale": True, "n_baseline": 4,
    "centre": 4.0, "low": 3.0, "high": 5.0, "error_from": "own", "latest": 3.5,
    "verdict": "within error", "better": None, "reason": None,
}  # fmt: skip


def full_export(folder):
    """Make a home and its export `study` in a folder, and return the folder."""
    plan = made_up.PLAN.model_copy(update={"tasks": made_up.PLAN.tasks[:1]})
    with pytest.MonkeyPatch.context() as patch, Store.open(folder / "home") as store:
        patch.setattr(made_up, "PLAN", plan)
        store.people.add(kit.person())
        visit = made_up.one_visit(
            store, "K7QF", 0, device=kit.DEVICE,
            sources={n: Simulated(Truth(), seed=n) for n in range(2)},
        )  # fmt: skip
        say_everything(store, visit)
        make_clinic_keys(store, folder / "stick")
        sign = clinic_signature(store)
        export_tidy(store, folder / "study", selection=EVERYBODY, bands=[("K7QF", BAND)],
                    sign=sign, now=NOW)  # fmt: skip
    return folder


def say_everything(store, visit):
    said = {"author": "AB", "at_utc": AT}
    store.annotations.amend("visit", visit.visit_id, "excluded", "yes", reason="r", **said)
    store.annotations.add_marker("K7QF", "fall", at_utc=AT)
    store.visits.put_answer(visit.visit_id, "before", "medication", "none", at_utc=AT)
    store.care.put_home_exercise(
        HomeExercise(
            kit.identifier("p"), "K7QF", "reported", "all", "left", 10.0, 1, "2026-03-12", AT
        )
    )
    store.people.record_consent("K7QF", form_version="2", decision="given", at_utc=AT)
    store.annotations.restart_baseline("K7QF", visit.visit_id, reason="r", **said)
    store.annotations.enter_outside_error("tapping.radial_error_mm", 0.1, source="s", **said)
    kit.planned_earlier(store, "2026-03-01", 7.0, at_utc=AT)
    goal = store.care.set_goal("K7QF", "drink tea", **said)
    level = store.care.rate_goal(goal.goal_id, 1, **said)
    store.annotations.take_back("K7QF", "rating", level.level_id, reason="slip", **said)
    store.care.set_state(
        "K7QF", "paused", from_date=date(2026, 3, 1), reason="in hospital", **said
    )
    store.care.answer_contraindications("K7QF", [("neck", "yes")], **said)
    store.care.set_plan("K7QF", SHORT, source="short", **said)
    set_home_plan(
        store, "K7QF", [Dose("tapping", "both", 1.0, 3, (1, 3, 5), "near", 0, ("09:00",))],
        from_date=date(2026, 3, 1), **said,
    )  # fmt: skip
    alias = kit.DEVICE.alias
    store.setup.put_screen_check(alias, kit.DEVICE.screen, "card", at_utc=AT)
    store.setup.put_timing_check(
        TimingCheck(kit.identifier("t"), alias, "touch", 400, 120.0, 60.0, 0.0, 60.0, 0.0, 1.0,
                    AT)
    )  # fmt: skip
    store.setup.put_loop_check(
        LoopCheck(kit.identifier("l"), alias, "lift", 3, 62.0, 4.0, 52.1, 71.9, 3.0, 239.8,
                  "14 15 16", "film", "AB", AT)
    )  # fmt: skip
