"""A farm that leaves: taken along whole, put into an empty farm with equal totals, refused where touched."""

import hashlib
import io
import json
import zipfile

import pytest
from django.utils import timezone

from orchard.config import farm_export, farm_import
from orchard.inventory.models import Movement
from tests.callers import Caller
from tests.factories import FarmFactory
from tests.stories.farm import Hollow, q

pytestmark = pytest.mark.django_db
RING = [[-119.5, 36.1], [-119.4987654, 36.1], [-119.4987654, 36.1012345], [-119.5, 36.1]]


@pytest.fixture
def worked():
    """A farm on which a spray was done, with stock that moved and a block with an outline."""
    hollow = Hollow()
    copper, where = hollow.copper(), hollow.ready_to_spray()
    hollow.lot(copper, "C-2201", q("9.5", "lb"), expires_on=hollow.day(60))
    hollow.lot(copper, "C-2305", q("20", "lb"), expires_on=hollow.day(500))
    order = hollow.draft(where, copper, q("1.0", "oz_wt/gal"), "196")
    hollow.do(order, "issue")
    hollow.spray(order, [{"product": copper}], "196")
    hollow.do(order, "finish", {"finished_at": timezone.now().isoformat(), "nothing_unusual": True})
    outlined = {"name": "=Terrace", "crop": "peach", "outline": {"type": "Polygon", "coordinates": [RING]}}
    assert hollow.pim.post("blocks", outlined).status_code == 201
    return hollow


def exported(hollow, tmp_path):
    answer = Caller(hollow.farm, "owner").get("export.zip")
    assert answer.status_code == 200
    file = tmp_path / "farm.zip"
    file.write_bytes(b"".join(answer.streaming_content))
    return file


def totals(owner):
    stock = [
        {name: row[name] for name in ("on_hand", "reserved", "available", "on_hand_base") if name in row}
        for row in owner.get("stock").json()["items"]
    ]
    lots = [(one["id"], one["number"], one["on_hand"]) for one in owner.get("lots").json()["items"]]
    records = [
        (one["id"], one["spray"], one["products"], one["finished_at"], one["re_entry_until"])
        for one in owner.get("application-records").json()["items"]
    ]
    moves = [
        (one["id"], one["change"], one["balance_after"])
        for one in owner.get("stock-movements").json()["items"]
    ]
    blocks = [(one["id"], one["outline"], one["area"]) for one in owner.get("blocks").json()["items"]]
    orders = [(one["id"], one["status"], one["totals"]) for one in owner.get("work-orders").json()["items"]]
    return stock, lots, records, moves, blocks, orders


def rewritten(file, into, name, change, *, sums=True):
    """Write an export anew with one file changed, and the manifest's checksum of it as well."""
    with zipfile.ZipFile(file) as old:
        files = {one: old.read(one) for one in old.namelist()}
    files[name] = change(files[name])
    if sums:
        manifest = json.loads(files["manifest.json"])
        manifest["files"][name]["sha256"] = hashlib.sha256(files[name]).hexdigest()
        files["manifest.json"] = json.dumps(manifest).encode()
    with zipfile.ZipFile(into, "w", zipfile.ZIP_DEFLATED) as new:
        for one, content in files.items():
            if content is not None:
                new.writestr(one, content)
    return into


def test_put_into_an_empty_farm_it_has_equal_totals_and_ledgers_that_hold(worked, tmp_path):
    file = exported(worked, tmp_path)
    empty = FarmFactory(name="Elsewhere")

    farm_import.take_over(source=file, farm=empty, now=timezone.now())

    was = totals(Caller(worked.farm, "owner"))
    assert totals(Caller(empty, "owner")) == was
    assert len(was[1]) == 2 and len(was[2]) == 1 and len(was[3]) >= 4
    assert Movement.objects.filter(farm=empty).count() == Movement.objects.filter(farm=worked.farm).count()


def test_the_zip_holds_json_csv_geojson_and_a_manifest_whose_checksums_are_right(worked, tmp_path):
    with zipfile.ZipFile(exported(worked, tmp_path)) as archive:
        manifest = json.loads(archive.read("manifest.json"))
        for name, said in manifest["files"].items():
            assert hashlib.sha256(archive.read(name)).hexdigest() == said["sha256"]
        assert set(archive.namelist()) == {*manifest["files"], "manifest.json"}
        ground = json.loads(archive.read("blocks.geojson"))
        csv = archive.read("csv/blocks_block.csv").decode()
        everything = b"".join(map(archive.read, archive.namelist())).decode()

    assert ground["type"] == "FeatureCollection"
    assert {one["type"] for one in ground["features"]} == {"Feature"}
    assert [one["geometry"]["coordinates"] for one in ground["features"] if one["geometry"]]
    assert "'=Terrace" in csv and ",=Terrace" not in csv
    assert worked.pim.secret not in everything
    assert worked.pim.token.digest not in everything


def test_a_farm_with_rows_is_never_imported_into(worked, tmp_path):
    file = exported(worked, tmp_path)

    with pytest.raises(farm_import.CannotImport, match="not empty"):
        farm_import.take_over(source=file, farm=worked.farm, now=timezone.now())


def lighter(content):
    return content.replace(b"C-2201", b"C-9999")


def richer(content):
    lines = json.loads(content)
    lines[0]["reason"] = "a gift"
    return json.dumps(lines).encode()


@pytest.mark.parametrize(
    ("name", "change", "sums", "says"),
    [
        ("rows/inventory_lot.json", lighter, False, "not what was exported"),
        ("rows/inventory_movement.json", richer, True, "does not say what it said"),
        ("rows/inventory_movement.json", lambda _: b"[]", True, "does not hold"),
        ("rows/inventory_lot.json", lambda _: b'[{"key": 1}]', True, "other columns"),
        ("rows/inventory_lot.json", lambda _: b" " * 50_000_000 + b"[]", True, "no export of ours"),
        ("manifest.json", lambda _: b"[" * 100_000, False, "no export of ours"),
        ("manifest.json", lambda _: b'{"format": 2}', False, "the form 2"),
    ],
)
def test_a_file_that_was_touched_or_would_burst_is_refused_and_leaves_nothing(
    worked, tmp_path, name, change, sums, says
):
    touched = rewritten(exported(worked, tmp_path), tmp_path / "touched.zip", name, change, sums=sums)
    empty = FarmFactory()

    with pytest.raises(farm_import.CannotImport, match=says):
        farm_import.take_over(source=touched, farm=empty, now=timezone.now())

    assert Caller(empty, "owner").get("lots").json()["items"] == []


def test_a_file_that_is_none_of_ours_is_refused(tmp_path):
    for content in (b"", b"PK\x05\x06" + b"\0" * 18, b"rubbish"):
        file = tmp_path / "any.zip"
        file.write_bytes(content)
        with pytest.raises(farm_import.CannotImport):
            farm_import.take_over(source=file, farm=None, now=timezone.now())


def test_who_owns_no_farm_takes_none_along(worked):
    assert worked.pim.get("export.zip").status_code == 403
    stranger = Caller(FarmFactory(), "owner")
    assert stranger.get(worked.pim.at("export.zip")).status_code == 404


def test_what_is_exported_is_one_farm_alone(worked, tmp_path):
    other = FarmFactory()
    Caller(other, "owner").post("blocks", {"name": "Mill field", "crop": "apple", "trees": 9})
    out = io.BytesIO()

    farm_export.write(farm=worked.farm, to=out, now=timezone.now())

    with zipfile.ZipFile(out) as archive:
        assert all(b"Mill field" not in archive.read(name) for name in archive.namelist())
