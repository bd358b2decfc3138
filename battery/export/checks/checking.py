"""Does an export still hold? Signature, digest, hashes, keys, references, stamps, replay."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from battery.export.checks.blocks_check import parts_checked
from battery.export.checks.csv_check import csv_findings
from battery.export.checks.files_check import held_files, proof
from battery.export.checks.keys_check import Keys
from battery.export.on_disk.table_files import PACKAGE
from battery.export.reading.reader import MADE_OF, RAW, Export
from battery.verify import Finding, Verification
from battery.workers import seldom_collected

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class ExportVerification(Verification):
    """What was looked at in an export, what was found, and whose key signed it.

    Parameters
    ----------
    signer : str
        Fingerprint of the clinic whose key signed it; empty where none did.
    """

    signer: str = ""

    def summary(self) -> str:
        """Say it in two lines, and one more for every finding."""
        looked = f"{self.n_visits} visits, {self.n_blocks} blocks, {self.n_samples} samples"
        if self.signer:
            signed = (
                f"signed with the key of the clinic {self.signer}; compare it with the card "
                "that the clinic gave you"
            )
        else:
            signed = (
                "not signed: hashes show damage and careless changes, not those of somebody "
                "who made all hashes anew"
            )
        told = [f"{f.where}: {f.what}" for f in (*self.findings, *self.notes)]
        if self.findings:
            head = f"{looked}: {len(self.findings)} findings; nothing was changed"
            return "\n".join([head, *told])
        done = "hashes, references, stamps"
        if self.replayed:
            done += " and replays"
            if self.notes:
                done += f", but for {len(self.notes)} blocks of other rules than are here"
        return "\n".join([f"{looked}: {done} hold", signed, *told])


def verify_export(
    folder: Path,
    *,
    replay: bool | None = None,
    signer: str | None = None,
    progress: Progress | None = None,
    n_processes: int | None = None,
) -> ExportVerification:
    """Check an export without changing anything.

    A file whose hash does not hold is named and not read any further.

    Parameters
    ----------
    folder : Path
    replay : bool, optional
        Whether every block is also replayed through its task, which costs many times the rest.
        Default: only where no hash covers the blocks, as in the first form.
    signer : str, optional
        Fingerprint of the clinic that must have signed it.
    progress : callable, optional
        Called with (parts done, parts in all).
    n_processes : int, optional
        Default: one per core, fewer for few parts.

    Raises
    ------
    UsageError
        If the folder holds no export, or one of a later program.
    RecordError
        If its descriptor does not say how many parts there are.
    """
    export = Export(folder)
    replayed = export.is_first_form if replay is None else replay
    signed_by, findings = "", []
    if not export.is_first_form:
        signed_by, said = proof(export)
        findings += said
    if signer is not None and _digits(signer) != _digits(signed_by):
        findings.append(Finding(PACKAGE, f"it is not signed by the clinic {signer[:40]}"))
    names, said = held_files(export)
    findings += said
    bad = {table for table, files in names.items() if any(f.bad for f in files)}
    if not export.is_first_form:
        bad |= MADE_OF - set(export.tables)
    findings += csv_findings(export, bad)
    keys = Keys(export, bad)
    findings += keys.findings()
    notes: list[Finding] = []
    n_blocks = n_samples = 0
    if not bad & (RAW | {"blocks", "visits", "settings"}):
        with seldom_collected(), parts_checked(export, replayed, n_processes) as parts:
            for number, part in enumerate(parts, start=1):
                findings += part.findings
                notes += part.notes
                n_blocks += part.n_blocks
                n_samples += part.n_samples
                if progress is not None:
                    progress(number, export.n_parts)
    return ExportVerification(
        keys.n_visits,
        n_blocks,
        n_samples,
        0,
        tuple(findings),
        tuple(notes),
        replayed,
        signed_by,
    )


def _digits(mark: str) -> str:
    return re.sub(r"[^0-9a-f]", "", mark.lower())
