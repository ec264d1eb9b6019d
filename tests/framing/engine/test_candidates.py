"""Tests of what is varied of a build, and of the search through it, on figures that need no frame."""

from dataclasses import replace
from decimal import Decimal
from itertools import product

import pytest

from framing.engine.adjustment import adjust
from framing.engine.assembly import Setting
from framing.engine.candidates import AS_GIVEN, Choice, Grid, fewest_pads, search, vary
from framing.engine.documents import parse_build, parse_survey
from framing.engine.keep_outs import find_ground
from framing.engine.layout import lay_deck
from framing.engine.plane import find_plane
from framing.engine.ranking import HOUR, Bought, Figures, Tried, rank
from framing.engine.roof import fit_roof
from framing.engine.support_checks import pressure_limits
from tests.framing.fixtures import good_build, good_survey

SURVEY = parse_survey(good_survey())
USUAL = {"pads": 80.0, "gap": 0.5, "cuts": 20.0, "weight": 2400.0, "step": 0.25, "cautions": 5.0}


def with_(document, **groups):
    return {**document, **{name: {**document[name], **fields} for name, fields in groups.items()}}


def setting(build):
    adjusted = adjust(SURVEY)
    deck, _ = lay_deck(SURVEY, build, adjusted)
    plane, _ = find_plane(SURVEY, build, adjusted, deck.net)
    return Setting(SURVEY, adjusted, fit_roof(SURVEY, adjusted), deck, plane)


def varied(document):
    build = parse_build(document)
    grid, left_out = vary(setting(build), build, None)
    words = [[c.words for c in axis[1:]] for axis in grid.axes]
    return grid, words, left_out


DOCUMENT = with_(good_build(), decking={"direction": "auto", "thickness": 1, "species": "cumaru",
                                        "stock_lengths": [120, 144, 192]},
                 joists={"direction": "auto", "spacing": 16, "sizes": ["2x8", "2x4", "2x6"]},
                 supports={"pad_size": [[4, 4], [8, 8]]}, surface={"mode": "level"})


def test_everything_that_the_office_may_settle_is_varied_in_words():
    # the house runs along x, the deck lies on the side of y > 0
    _, words, _ = varied(DOCUMENT)
    assert words == [
        ["joists square to the door's wall"], ["joists 12 in apart"],
        ["no lumber deeper than 2x6", "no lumber deeper than 2x4"], ["pads 4 x 4 in only", "pads 8 x 8 in only"],
        ["surface along the threshold", "surface falls 1/8 in a foot from the door"],
        ["boards of 16 ft only", "boards of 12 ft only", "boards of 10 ft only"], ["one border course"],
    ]


def test_a_surface_that_falls_does_so_away_from_the_house():
    grid, _, _ = varied(DOCUMENT)
    surface = next(c for c in grid.axes[4] if "falls" in c.words).patch["surface"]
    assert surface["toward"] == pytest.approx(90, abs=1e-6) and surface["fall_per_ft"] == 1 / 8


def test_spacings_that_the_boards_do_not_span_are_left_out_with_the_table():
    # IRC 2018 Table R507.7: boards of 5/4 (1 in dressed) square to the joists span 16 in
    _, _, left_out = varied(DOCUMENT)
    assert [v.name for v in left_out] == ["joists 24 in apart", "joists 19.2 in apart"]
    assert all("16 in (IRC 2018 Table R507.7)" in v.why for v in left_out)


def test_boards_that_the_table_does_not_have_get_no_wider_spacing_than_asked():
    _, words, left_out = varied(with_(DOCUMENT, decking={"species": "composite"}))
    assert words[1] == ["joists 12 in apart"]
    assert [v.name for v in left_out] == ["joists 24 in apart", "joists 19.2 in apart"]


def test_every_place_of_the_grid_is_a_build_of_its_own_with_what_was_not_varied_kept():
    grid, _, _ = varied(DOCUMENT)
    made = [grid.made(at) for at in product(*(range(min(2, len(axis))) for axis in grid.axes))]
    assert None not in made and len({b.model_dump_json() for b in made}) == 2**7
    assert {(b.surface.reveal, b.loads, b.supports.clear_gap, b.decking.item) for b in made} == {
        (grid.build.surface.reveal, grid.build.loads, grid.build.supports.clear_gap, grid.build.decking.item)}


def test_turned_joists_take_the_boards_with_them():
    grid, _, _ = varied(with_(DOCUMENT, decking={"direction": 60}, joists={"direction": 0}))
    turned = grid.made((1, 0, 0, 0, 0, 0, 0))
    assert (turned.joists.direction, turned.decking.direction) == (90, 150)


# The search, on a grid of three axes whose figures are known without a frame.

TOY = Grid(parse_build(good_build()), (
    (Choice("", {}), *(Choice(f"{v} in apart", {"joists": {"spacing": v}}) for v in (12, 8))),
    (Choice("", {}), *(Choice(f"wood of {v}", {"joists": {"minimum_depth": v}}) for v in (2, 2.5))),
    (Choice("", {}), *(Choice(f"trim {v}", {"saw": {"trim": v}}) for v in (0.5, 0.75))),
))


def figures(build, **counts):
    """Hours and weight trade off with spacing; deeper wood only loses; a longer trim only gains."""
    far, deep, trim = build.joists.spacing, build.joists.minimum_depth, build.saw.trim
    found = {**USUAL, "hours": 160 - 4 * far + 10 * deep - 8 * trim, "weight": 1000 + 50 * far + 100 * deep,
             "lumber": 1.0, "boards": 1.0, **counts}
    bill = (Bought("lumber/2x8/144", Decimal(1), Decimal(100)), Bought("decking/b/144", Decimal(1), Decimal(100)),
            Bought(HOUR, Decimal(1)))
    return Figures(found, bill, 4000.0, 16000.0)


def looked(most, *, grid=TOY, given=None, refused=lambda build: "", figured=figures):
    waves = []

    def try_each(wave):
        waves.append([name for name, _, _ in wave])
        return [Tried(name, changes, build, figured(build)) for name, changes, build in wave]

    first = given or Tried(AS_GIVEN, (), grid.build, figured(grid.build))
    found, left_out = search(grid, first, try_each, refused, ground(), most=most, prices={})
    return found, left_out, waves


def ground(strength=20.0):
    """An insulation of a rated strength, and nothing in the way."""
    survey = parse_survey({**good_survey(), "roof": {"insulation": "XPS", "insulation_strength": strength}})
    adjusted = adjust(survey)
    return find_ground(survey, adjusted, fit_roof(survey, adjusted), ())


def test_the_search_finds_every_build_of_the_grid_that_none_beats():
    every = [Tried(TOY.name(at), (), TOY.made(at), figures(TOY.made(at))) for at in product(range(3), repeat=3)]
    best = {p.tried.name for p in rank(every, name="Roof", prices={}).in_state("unbeaten")}
    found, _, _ = looked(60)
    assert len(best) == 3  # the longest trim and the wood as given, at each of the three spacings
    assert {p.tried.name for p in rank(found, name="Roof", prices={}).in_state("unbeaten")} == best


def test_no_more_builds_are_tried_than_asked_for():
    for most in (1, 2, 7, 9):
        found, _, waves = looked(most)
        assert len(found) == 1 + sum(map(len, waves)) == min(most, len(found)) == most


def test_what_only_loses_by_itself_is_not_tried_with_other_changes():
    found, _, _ = looked(60)
    assert [t.name for t in found if "wood of" in t.name] == ["wood of 2", "wood of 2.5"]


def test_what_comes_out_as_another_does_is_told_and_not_listed_twice():
    found, left_out, _ = looked(60, figured=lambda build: figures(build, hours=1.0, weight=1.0))
    assert [t.name for t in found] == [AS_GIVEN]
    assert {v.why for v in left_out} == {'Comes out as "as given" does.'} and len(left_out) == 6


def test_a_build_that_is_refused_is_told_why():
    found, left_out, _ = looked(60, refused=lambda build: "too close" if build.joists.spacing == 8 else "")
    assert not [t for t in found if t.build.joists.spacing == 8]
    assert ("8 in apart", "too close") in [(v.name, v.why) for v in left_out]


def test_where_the_given_build_stops_changes_of_those_that_stand_are_still_tried():
    stopped = Tried(AS_GIVEN, (), TOY.build, None)
    found, _, _ = looked(60, given=stopped)
    assert max(len(t.changes) for t in found) == 3


def test_pads_that_cannot_bear_the_loads_in_so_few_are_left_out_unless_they_have_a_price():
    # 16,000 lb in all and 4,000 lb dead, pads of 16 sq in each
    grid = Grid(TOY.build, ((Choice("", {}), Choice("small pads", {"supports": {"pad_size": [[4, 4]]}})),))
    small = grid.made((1,))
    limit_dead, limit_all = pressure_limits(ground())
    needed = max(4000 / limit_dead, 16000 / limit_all) / 16
    assert 0.97 * needed < fewest_pads(figures(small), small, ground()) <= needed + 1
    assert needed > USUAL["pads"]
    found, left_out, _ = looked(60, grid=grid)
    assert [t.name for t in found] == [AS_GIVEN] and "small pads" in [v.name for v in left_out]
    tried, _ = search(grid, Tried(AS_GIVEN, (), grid.build, figures(grid.build)),
                      lambda wave: [Tried(n, c, b, figures(b, pads=120.0)) for n, c, b in wave], lambda build: "",
                      ground(), most=60, prices={"support/pad/4x4": Decimal("1.10")})
    assert [t.name for t in tried] == [AS_GIVEN, "small pads"]


def test_an_insulation_of_unknown_strength_leaves_no_pads_out():
    build = TOY.build
    assert fewest_pads(figures(build), build, replace(ground(), strength=None)) == 0
