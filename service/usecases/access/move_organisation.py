"""Take everything that an organisation owns out into one file, and put it into another database.

The file is a zip: `manifest.json`, and for every table `tables/NAME.jsonl`, one JSON object a row in the order of keys.
Keys are kept, since other programs know vehicles by them; into a database that holds others with the same keys an
organisation comes under new ones.
"""

import hashlib
import json
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from typing import IO, Any, Final

from sqlalchemy import Table
from sqlmodel import Session

from service.errors import ConflictError, InvalidInputError
from service.store.repositories import fleet, whole_organisation
from service.store.repositories.renumbering import LEFT_OUT, Renumbering

FORMAT: Final = 1
MANIFEST: Final = "manifest.json"

NEW_IDS_HELP: Final = "; restore it with --new-ids, or into a database of its own."
NEW_IDS_DO_NOT_HELP: Final = ", though its ids are new; restore it into a database of its own."
"""Whoever signs in, and every secret, is in a database once."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """What a file holds."""

    organisation: str
    n_rows: dict[str, int]

    @property
    def total(self) -> int:
        """Rows of all tables."""
        return sum(self.n_rows.values())


def export_organisation(
    session: Session, organisation_id: int, schema: str, now: datetime, target: IO[bytes]
) -> Contents:
    """Write everything that an organisation owns, as it is in this snapshot.

    The file holds password and token hashes and the secrets of webhooks: it is to be kept like the database.
    """
    name = fleet.get_organisation(session, organisation_id).name
    tables: dict[str, dict[str, Any]] = {}
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED, compresslevel=3) as archive:
        for table in whole_organisation.owned_tables():
            digest, n_rows = hashlib.sha256(), 0
            with archive.open(_member(table), "w", force_zip64=True) as file:
                for row in whole_organisation.read_rows(session, table, organisation_id):
                    line = (
                        json.dumps(row, sort_keys=True, separators=(",", ":"), allow_nan=False).encode()
                        + b"\n"
                    )
                    digest.update(line)
                    file.write(line)
                    n_rows += 1
            tables[table.name] = {"n_rows": n_rows, "sha256": digest.hexdigest()}
        manifest = {
            "format": FORMAT,
            "schema": schema,
            "organisation_id": organisation_id,
            "organisation": name,
            "exported_at": now.isoformat(),
            "tables": tables,
        }
        archive.writestr(MANIFEST, json.dumps(manifest, indent=2))
    return _contents(manifest)


def restore_organisation(
    session: Session, schema: str, source: IO[bytes], *, under_new_ids: bool = False
) -> Contents:
    """Put everything from a file into the database, or nothing; under new ids if its own are taken.

    Raises
    ------
    ConflictError
        If the file is of another schema, or the organisation or its keys are there already.
    InvalidInputError
        If the file is damaged or not one of ours.
    """
    try:
        with zipfile.ZipFile(source) as archive:
            manifest = json.loads(archive.read(MANIFEST))
            _check(manifest, schema)
            _require_absent(session, manifest["organisation"])
            renumbering = Renumbering(session) if under_new_ids else None
            for table in whole_organisation.owned_tables():
                _restore_table(session, archive, table, manifest, renumbering)
    except (zipfile.BadZipFile, KeyError, ValueError) as error:
        raise InvalidInputError("The file is damaged, or is not an export of an organisation.") from error
    return _contents(manifest)


def _restore_table(
    session: Session,
    archive: zipfile.ZipFile,
    table: Table,
    manifest: dict[str, Any],
    renumbering: Renumbering | None,
) -> None:
    key, told = int(manifest["organisation_id"]), manifest["tables"][table.name]
    digest, n_rows = hashlib.sha256(), 0
    with archive.open(_member(table)) as file:
        for lines in _batches(file):
            digest.update(b"".join(lines))
            n_rows += len(lines)
            rows = [json.loads(line) for line in lines]
            _require_owner(table, rows, key)
            if renumbering is not None:
                rows = [] if table.name in LEFT_OUT else [renumbering.change(table, row) for row in rows]
            if rows:
                way_out = NEW_IDS_HELP if renumbering is None else NEW_IDS_DO_NOT_HELP
                whole_organisation.write_rows(session, table, rows, way_out)
    if (n_rows, digest.hexdigest()) != (told["n_rows"], told["sha256"]):
        raise InvalidInputError(
            f"The rows of {table.name} are not those that were exported; nothing was stored."
        )
    whole_organisation.go_on_counting(session, table)


def _require_owner(table: Table, rows: Sequence[dict[str, Any]], key: int) -> None:
    owner = whole_organisation.owner_column(table)
    if any(row[owner] != key for row in rows):
        raise InvalidInputError("The file holds rows of another organisation; nothing was stored.")


def _batches(file: IO[bytes]) -> Iterator[list[bytes]]:
    return iter(lambda: list(islice(file, whole_organisation.ROWS_A_TURN)), [])


def _check(manifest: dict[str, Any], schema: str) -> None:
    """Refuse a file that this program cannot read."""
    if manifest["format"] != FORMAT:
        raise ConflictError(f"The file has format {manifest['format']}; this program reads format {FORMAT}.")
    if manifest["schema"] != schema:
        raise ConflictError(
            f"The file is of schema {manifest['schema']}, this database of {schema}. Restore it into a new database "
            "with the program that wrote it, then upgrade that with `sumpwise migrate`."
        )


def _require_absent(session: Session, name: str) -> None:
    if fleet.organisation_named(session, name) is not None:
        raise ConflictError(
            f"An organisation “{name}” is here already, and a copy cannot stand beside it: its tokens and the names of "
            "its people are in a database once. Restore it into a database of its own; if this is another one, rename "
            "it first."
        )


def _member(table: Table) -> str:
    return f"tables/{table.name}.jsonl"


def _contents(manifest: dict[str, Any]) -> Contents:
    return Contents(
        organisation=manifest["organisation"],
        n_rows={name: table["n_rows"] for name, table in manifest["tables"].items()},
    )
