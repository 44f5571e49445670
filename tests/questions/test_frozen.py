"""Cases are frozen: what they state and what they leave open does not change unnoticed.

The ranges of a case are those of somebody who has not seen a prediction.  A range that is moved
after a look at the model makes its score worthless.  So the numbers of each file have a digest
here, and this is its one place.  A change of a digest needs its reason in the commit: an error of
copying, another key of a scenario, a fact of the source.  A prediction is no reason.
"""

import hashlib
import json

import pytest

from metersim.machine.seedlot import read_toml
from metersim.measures.limits import PUBLISHED

TEXTS = ("source", "mark", "read", "assumed", "discussion", "title", "shows", "covers")
DIGESTS = {
    "ankara2021": "96c80b9e2e9b47db",
    "ankara_pickup": "f1da1931172276ed",
    "banaj2022": "6c879276b18c091f",
    "banaj_fast": "639ccf842b7b301f",
    "banaj_sunflower": "4930fef3b2727f0c",
    "bench": "7a91a840ec2094c8",
    "bozdogan2008": "cf2eb0db5edf08e5",
    "field": "a154ccb9da80c9aa",
    "huazhong2023": "b87a91f3e106cca4",
    "huazhong_soybean": "d49805a7d0238806",
    "karayel2004": "1d930aad7e5b124a",
    "liao2018": "620c561c406ce23c",
    "liu2017": "2d7bc74a86428d7a",
    "mattana_bench": "c1295e723ddb6433",
    "mattana_field": "701f3cdcd247429a",
    "nadin2019": "e2a771f2e35ac923",
    "onal2012": "3bdf112dd22b4991",
    "panning2000": "60936df64140c3ba",
    "plantsci2025": "150d1d9bbbc1445c",
    "qi2013": "c7bcd408e1da59db",
    "torosoglu": "588f3e7146e88105",
    "wheat_stand": "0799678702ccdf02",
    "yazgi2016": "6f4c80a7b70ba0d5",
}
FILES = {path.stem: path for path in PUBLISHED.rglob("*.toml")}


def digest(table):
    """Digest of all that a prediction or a verdict depends on."""
    kept = {key: value for key, value in table.items() if key not in TEXTS}
    return hashlib.sha256(json.dumps(kept, sort_keys=True).encode()).hexdigest()[:16]


def test_every_case_and_machine_has_a_digest():
    assert set(FILES) == set(DIGESTS)


@pytest.mark.parametrize("name", sorted(FILES))
def test_a_case_is_as_it_was_frozen(name):
    found = digest(read_toml(FILES[name]))
    assert found == DIGESTS.get(name), (
        f"{name}: the numbers of a published case or machine changed, digest {found}. Ranges are "
        "set before a prediction is seen. If the change has a reason that no prediction gave, "
        "write the digest into DIGESTS and the reason into the commit."
    )


def test_a_range_that_moves_is_noticed_and_a_text_is_free():
    """Negative control."""
    table = read_toml(FILES["bench"])
    before = digest(table)
    assert digest(table | {"title": "another"}) == before
    table["vacuum"]["vacuum_kpa"]["high"] += 0.1
    assert digest(table) != before
