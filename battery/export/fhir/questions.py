"""What a person is asked around a visit, as a questionnaire and its answers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from battery.answers import MOMENTS, QUESTIONS, Answer, Moment, Question
from battery.export.fhir.names import (
    FORM,
    QUESTIONS_ADDRESS,
    WORDS_SYSTEM,
    Resource,
    identity,
    local_text,
    refer,
)
from battery.recording import BlockHeader
from battery.store import VisitRecord

WHEN: Mapping[Moment, str] = {
    "before": "Before the first block",
    "block": "About a block",
    "stop": "At a stop",
    "after": "After the last block",
}
WHICH_BLOCK = "block.which"


def questionnaire() -> Resource:
    """Make the questionnaire: every question at every moment, none of them required."""
    return {
        "resourceType": "Questionnaire",
        "id": identity("questionnaire", QUESTIONS_ADDRESS, FORM),
        "url": QUESTIONS_ADDRESS,
        "version": FORM,
        "name": "QuestionsAroundAVisit",
        "title": "Questions around a visit of the coordination test",
        "status": "active",
        "description": "Asked on the screen. Where a question was answered twice at one "
        "moment, the later answer counts; at a stop each one does.",
        "item": [_group(moment) for moment in MOMENTS],
    }


def _group(moment: Moment) -> Resource:
    items: list[Resource] = [
        {
            "linkId": f"{moment}.{question.name}",
            "text": question.meaning,
            "repeats": moment == "stop",
            "type": _type(question),
        }
        | _options(question)
        for question in QUESTIONS.values()
    ]
    if moment == "block":
        which = {"linkId": WHICH_BLOCK, "text": "Task and hand, as asked.", "type": "string"}
        items.insert(0, which)
    return {
        "linkId": moment,
        "text": WHEN[moment],
        "type": "group",
        "repeats": moment == "block",
        "item": items,
    }


def _type(question: Question) -> str:
    if not question.words:
        return "integer"
    return "boolean" if set(question.words) <= {"yes", "no"} else "choice"


def _options(question: Question) -> Resource:
    if _type(question) != "choice":
        return {}
    return {"answerOption": [{"valueCoding": _coding(question, w)} for w in question.words]}


def _coding(question: Question, word: str) -> Resource:
    return {
        "system": WORDS_SYSTEM,
        "version": FORM,
        "code": f"answer.{question.name}.{word}",
        "display": word.replace("_", " "),
    }


def response(
    visit: VisitRecord,
    answers: Sequence[Answer],
    blocks: Mapping[str, BlockHeader],
    patient: Resource,
) -> Resource:
    """Make the answers of a visit.

    Parameters
    ----------
    answers : sequence of Answer
        In order; at least one.
    blocks : mapping of block to its header
    """
    header = visit.header
    items = []
    for moment in MOMENTS:
        told = [a for a in answers if a.moment == moment]
        groups: dict[str, list[Answer]] = {}
        for answer in told:
            about = answer.block_id or "" if moment == "block" else ""
            groups.setdefault(about, []).append(answer)
        for block_id, own in groups.items():
            inside = _answered(moment, own)
            if block_id in blocks:
                asked = blocks[block_id]
                inside.insert(
                    0,
                    {
                        "linkId": WHICH_BLOCK,
                        "answer": [{"valueString": f"{asked.task}, {asked.hand} hand"}],
                    },
                )
            items.append({"linkId": moment, "text": WHEN[moment], "item": inside})
    ended = {"finished": "completed", None: "in-progress"}.get(visit.ending, "stopped")
    return {
        "resourceType": "QuestionnaireResponse",
        "id": identity("answers", header.visit_id),
        "questionnaire": f"{QUESTIONS_ADDRESS}|{FORM}",
        "status": ended,
        "subject": refer(patient),
        "authored": local_text(answers[-1].at_utc, header.utc_offset_min),
        "author": refer(patient),
        "source": refer(patient),
        "item": items,
    }


def _answered(moment: Moment, answers: Sequence[Answer]) -> list[Resource]:
    said: dict[str, list[str]] = {}
    for answer in answers:
        known = said.setdefault(answer.question, [])
        if moment != "stop":
            known.clear()  # the latest answer counts
        known.append(answer.value)
    return [
        {
            "linkId": f"{moment}.{name}",
            "text": QUESTIONS[name].meaning,
            "answer": [_answer(QUESTIONS[name], value) for value in values],
        }
        for name, values in said.items()
    ]


def _answer(question: Question, value: str) -> Resource:
    kind = _type(question)
    if kind == "integer":
        return {"valueInteger": int(value)}
    if kind == "boolean":
        return {"valueBoolean": value == "yes"}
    return {"valueCoding": _coding(question, value)}
