"""A club's site as it is asked for, and what came of it, in words."""

from pathlib import Path

import pytest

from daq.errors import InputFault
from ui.desktop.model import sites
from ui.desktop.model.clubs import Packing, SiteBuilt, built_site

CLUB = "Tern Lane Model Flyers"


def test_what_lacks_is_said_one_thing_at_a_time(tmp_path: Path) -> None:
    folder, out = str(tmp_path), str(tmp_path / "site")
    assert sites.lacking("", CLUB, out).startswith("Choose the folder")
    assert sites.lacking(out, CLUB, out) == f"There is no folder {out}."
    assert sites.lacking(folder, " ", out).startswith("Say what the club is called")
    assert sites.lacking(folder, "a\tb", out).startswith("A club's name has at most")
    assert sites.lacking(folder, CLUB, "") == "Say where the site is to be written."
    assert sites.lacking(folder, CLUB, folder).startswith("The site wants a folder")
    assert sites.lacking(folder, CLUB, out) == ""


def test_a_site_goes_beside_its_bundles_unless_it_is_told_otherwise() -> None:
    assert sites.site_beside("/srv/club") == "/srv/club-site"
    assert sites.site_beside(" ") == ""


def test_how_far_it_is_is_counted_in_bundles() -> None:
    assert sites.busy_words(None) == sites.LOOKED
    assert sites.busy_words((3, 40)) == "Looked into 3 of 40 bundles."
    assert sites.busy_words((40, 40)) == "All 40 looked into; writing the pages."


def test_what_came_of_it_survives_the_way_between_processes() -> None:
    built = SiteBuilt(Path("/srv/site/index.html"), 3, 7, (("a.zip", "it is none."),))
    assert SiteBuilt.read(built.asked()) == built
    none = SiteBuilt(Path("index.html"), 1, 1, (), ("Round robin: none.",))
    assert SiteBuilt.read(none.asked()) == none
    assert sites.built_words(built) == (
        "3 bundles looked through: 7 runs in the site, 1 refused."
    )
    assert sites.built_words(none) == (
        "1 bundle looked through: 1 run in the site, none refused."
    )


def test_of_very_many_refusals_the_first_are_told_and_the_rest_counted() -> None:
    refused = tuple((f"{n}.zip", "It is none.") for n in range(250))
    told = sites.refused_words(SiteBuilt(Path("index.html"), 250, 0, refused))
    assert told[0] == "0.zip: It is none."
    assert told[-1] == "And 150 more."


def test_a_folder_without_bundles_says_what_belongs_there(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match="There is no bundle in"):
        built_site(tmp_path, CLUB, tmp_path / "site", lambda done, of: None)


def test_what_is_asked_for_is_plain_values(tmp_path: Path) -> None:
    asked = Packing((tmp_path / "a",), tmp_path / "a.zip", by="Wren", sign=True).asked()
    assert asked["folders"] == [str(tmp_path / "a")]
    assert (asked["by"], asked["sign"], asked["tables_only"]) == ("Wren", True, False)
    assert sites.asked(f" {tmp_path} ", f" {CLUB} ", "x")["name"] == CLUB
