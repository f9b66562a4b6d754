"""``manage.py verify_ledger``: recompute the ledger from its rows and name everything that does not fit."""

import pathlib
import sys
import time
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import DatabaseError

from training.ledger.core import checking, sealed, statements
from training.ledger.store import audit, keys
from training.ledger.verify import command


class Command(BaseCommand):
    """Exit code 0 where everything fits, 1 where something does not or cannot be checked."""

    help = (
        "Recomputes every hash of the ledger from its rows and checks every checkpoint's signature. Lists "
        "each entry, node or checkpoint that was changed, removed or added. Exit code 1 if there is one. "
        "CAUTION: entries whose dates run backwards, as after a wrong clock; they change no exit code."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--tree", metavar="X", help="only this ledger (a school's public id)")
        parser.add_argument(
            "--against",
            action="append",
            default=[],
            type=pathlib.Path,
            metavar="FILE",
            help="a checkpoint or an export that was stored outside this server; may be repeated",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        faults = 0
        with audit.snapshot():
            held = self.held(options["against"])
            there = audit.trees()
            asked = [options["tree"]] if options["tree"] else sorted({*there, *held})
            for tree in asked:
                if tree not in there and tree not in held:
                    raise CommandError(f"No ledger {tree}. Known ledgers: {', '.join(there) or 'none'}.")
            for fault in audit.database_faults():
                faults += 1
                self.stdout.write(f"ERROR {fault}")
            for tree in asked:
                faults += self.tree(tree, held.pop(tree, []))
        if held:
            raise CommandError(f"--against: a checkpoint belongs to the ledger {', '.join(sorted(held))}.")
        if not asked:
            self.stdout.write("No signed entries yet.")
        if faults:
            self.stdout.write(f"NOT WHOLE. Errors: {faults}.")
            sys.exit(1)
        self.stdout.write("WHOLE")

    def tree(self, tree: str, against: list[checking.CheckpointRow]) -> int:
        """Check one tree and print the result; returns the number of errors."""
        tally = checking.Tally()
        began = time.perf_counter()
        try:
            for fault in audit.tree_faults(tree, tally, against=against):
                self.stdout.write(f"ERROR ledger {tree}: {fault}")
        except DatabaseError as fault:
            tally.faults += 1
            self.stdout.write(
                f"ERROR ledger {tree}: cannot read the rows after {tally.entries} entries: {fault}"
            )
        for caution in audit.backwards(tree, settings.CLOCK_DRIFT):
            self.stdout.write(f"CAUTION ledger {tree}: {caution}")
        seconds = time.perf_counter() - began
        self.stdout.write(
            f"ledger {tree}: {tally.entries:,} entries ({tally.erased} erased), {tally.nodes:,} nodes, "
            f"{tally.checkpoints} checkpoints in {seconds:.2f} s ({tally.entries / seconds:,.0f} entries/s): "
            + (f"errors: {tally.faults}" if tally.faults else "whole")
        )
        return tally.faults

    def held(self, files: list[pathlib.Path]) -> dict[str, list[checking.CheckpointRow]]:
        """The checkpoints in these files, by tree. One that no key of this ledger signed is refused."""
        found: dict[str, list[checking.CheckpointRow]] = {}
        known = keys.known()
        for path in files:
            try:
                token = command.checkpoint_in(command.read_file(path))
                kid, said = statements.read(token, known, sealed.CHECKPOINT)
            except ValueError as fault:
                raise CommandError(f"--against {path}: {fault}") from None
            row = checking.CheckpointRow(
                said["size"], said["root"], said["at"], kid, token, place=f"checkpoint in {path}"
            )
            found.setdefault(said["tree"], []).append(row)
        return found
