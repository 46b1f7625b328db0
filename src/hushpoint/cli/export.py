"""`hushpoint export` and `hushpoint verify BUNDLE`: evidence bundles made and checked."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import typer

from hushpoint.cli.keep import DEFAULT_DATA, INVENTED_MARK
from hushpoint.cli.told import note, tell
from hushpoint.cli.whole_file import whole_file
from hushpoint.desk.bundle import LARGEST_BYTES, bundle, bundle_name, find_learner
from hushpoint.desk.bundle_check import otherwise, verify_bundle
from hushpoint.errors import BadInputError
from hushpoint.ledger.identity import NamesLockedError
from hushpoint.ledger.sealed_file import passphrase_in
from hushpoint.ledger.store import open_ledger


def export_bundles(
    learners: list[str],
    *,
    out: Path,
    room: str | None,
    data: Path | None,
    database: str | None,
    passphrase_file: Path | None = None,
) -> None:
    """Write one bundle a learner into a folder; nothing where a learner is not found or a file is there already."""
    folder = data or DEFAULT_DATA
    invented = database is None and (folder / INVENTED_MARK).exists()
    passphrase = passphrase_in(passphrase_file) if passphrase_file else None
    ledger = open_ledger(folder, database, create=False, passphrase=passphrase)
    try:
        if not ledger.names_open:
            raise NamesLockedError
        found = [find_learner(ledger, typed, room or "") for typed in learners]
        paths = [out / bundle_name(code, who, invented=invented) for code, who in found]
        for path in paths:
            if path.exists():
                raise BadInputError(f"{path}: is there already; name a new folder with --out")
        made_at = datetime.now(UTC)
        made = [bundle(ledger, room=code, who=who, made_at=made_at, invented=invented) for code, who in found]
    finally:
        ledger.close()
    out.mkdir(parents=True, exist_ok=True, mode=0o700)
    for path, data_of in zip(paths, made, strict=True):
        whole_file(path, data_of)
        typer.echo(str(path))
    written = f"{len(made)} {'bundle' if len(made) == 1 else 'bundles'} written"
    keep = "INVENTED data, marked so in them" if invented else "they hold names: keep them private"
    note(f"{written}; {keep}")


def verify_bundle_file(
    file: Path, *, data: Path | None, database: str | None, as_json: bool, passphrase_file: Path | None = None
) -> int:
    """Print what a bundle shows when all is recomputed; return the exit status, 1 where something was altered."""
    try:
        with file.open("rb") as opened:
            content = opened.read(LARGEST_BYTES + 1)
    except OSError as refusal:
        raise BadInputError(f"{file}: cannot be read: {refusal.strerror}") from None
    if len(content) > LARGEST_BYTES:
        raise BadInputError(f"{file}: larger than {LARGEST_BYTES // 1_000_000} MB, the most that is read")
    found = verify_bundle(content)
    if data is not None or database is not None:
        passphrase = passphrase_in(passphrase_file) if passphrase_file else None
        ledger = open_ledger(data or DEFAULT_DATA, database, create=False, passphrase=passphrase)
        try:
            found.altered += [f"row {seq}: the ledger says otherwise" for seq in otherwise(ledger, found)]
        finally:
            ledger.close()
    whole = not found.problems
    if as_json:
        typer.echo(json.dumps(found.as_json()))
        return 0 if whole else 1
    if found.invented:
        tell("INVENTED data: nobody in it exists")
    for problem in found.altered:
        tell(f"altered: {problem}")
    for problem in found.unfounded:
        tell(f"does not follow: {problem}")
    for said in found.notes:
        tell(f"note: {said}")
    if whole:
        tell(f"whole: {found.rows} rows, {found.erased} of them erased on request; journal head {found.head}")
    for one in found.decisions:
        follows = "follows from the evidence" if one["follows"] else "does not follow from the evidence"
        if one["evidence_erased_since"]:
            follows = "cannot be recomputed in full: evidence was erased on request since"
        tell(
            f"row {one['row']}, signed {one['signed_on']}, {one['decision']} by {one['rule']}: {follows} "
            f"(recomputed: {one['recomputed']})"
        )
    return 0 if whole else 1
