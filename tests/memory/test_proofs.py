"""Proof tests in the memory."""

from pathlib import Path

import pytest

from linetender.memory.proofs import ProofRecord, proofs_in, store_proof
from linetender.memory.store import MemoryFault, open_store

AT = "2026-01-02T03:04:05+00:00"
FAN = ProofRecord(
    ended_at=AT,
    synchronised=True,
    who="socket, uid 1000",
    recording="a.jsonl",
    step="fan_plug",
    result="passed",
    clock="mains",
    seconds=0.21,
    limit_s=0.6,
    rule="fan_mains_lost",
)
DUCT = ProofRecord(
    ended_at=AT, synchronised=False, step="duct_pinched", result="skipped", why="steel duct"
)


def test_what_is_kept_comes_back_in_order(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        store_proof(store, FAN)
        store_proof(store, DUCT)
        store_proof(store, FAN)
    with open_store(tmp_path) as store:
        assert proofs_in(store) == [FAN, DUCT, FAN]


@pytest.mark.parametrize("changes", [{"result": "fine"}, {"seconds": -1.0}, {"limit_s": -0.1}])
def test_the_table_refuses_what_cannot_be(tmp_path: Path, changes: dict[str, object]) -> None:
    fields = {name: getattr(FAN, name) for name in ProofRecord.__struct_fields__}
    with open_store(tmp_path) as store:
        with pytest.raises(MemoryFault):
            store_proof(store, ProofRecord(**(fields | changes)))
        assert proofs_in(store) == []
