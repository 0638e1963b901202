"""Quick description: areas, walls, glass and roof of a building come out of it whole."""

import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from binestimator.inputs.problems import Problems
from binestimator.inputs.quick import (
    FACADES,
    MOST_LINES,
    MOST_LINES_OF_KIND,
    footprint_of,
    quick_zones,
    spread_index_share,
)
from binestimator.inputs.schema import record_type

Building, Special = record_type("building"), record_type("special")


def zones_of(building, specials=()):
    problems = Problems()
    zones = quick_zones(building, specials, "office", problems)
    assert not problems.items, [str(problem) for problem in problems.items]
    return [zone.values for zone in zones]


def total(zones, name):
    return sum(zone.get(name, 0.0) * zone["multiplier"] for zone in zones)


def one_each(**inputs):
    """Building with one zone a facade and one core on each floor."""
    return Building(**{"zones_per_facade": 1, "core_zones": 1} | inputs)


@pytest.mark.invariant
def test_a_building_done_by_hand():
    """100 x 50 ft, two floors of 10 ft, 10 ft perimeter: areas, walls and conductances by hand."""
    building = one_each(
        floor_area_ft2=10_000.0, floors=2, aspect_ratio=2.0, floor_height_ft=10.0, perimeter_depth_ft=10.0,
        glazing_north_frac=0.2, glazing_east_frac=0.3, glazing_south_frac=0.4, glazing_west_frac=0.5,
        wall_u=0.1, window_u=0.5, roof_u=0.05, infiltration_cfm_ft2=0.04,
    )  # fmt: skip
    zones = {zone["name"]: zone for zone in zones_of(building)}
    assert list(zones) == [
        f"{prefix} {part}" for prefix in ("Lower floors", "Top floor") for part in (*FACADES, "core")
    ]
    assert zones["Lower floors north"]["area_ft2"] == pytest.approx(900, rel=1e-12)  # (100 - 10) x 10
    assert zones["Lower floors east"]["area_ft2"] == pytest.approx(400, rel=1e-12)  # (50 - 10) x 10
    assert zones["Lower floors core"]["area_ft2"] == pytest.approx(2400, rel=1e-12)  # 80 x 30
    assert zones["Top floor north"]["glass_north_ft2"] == pytest.approx(200, rel=1e-12)  # 0.2 x 100 x 10
    assert zones["Top floor west"]["glass_west_ft2"] == pytest.approx(250, rel=1e-12)
    assert "glass_south_ft2" not in zones["Top floor north"]
    # 0.1 x 800 + 0.5 x 200; on the top floor + 0.05 x 900 of roof
    assert zones["Lower floors north"]["ua_btuh_f"] == pytest.approx(180, rel=1e-12)
    assert zones["Top floor north"]["ua_btuh_f"] == pytest.approx(225, rel=1e-12)
    assert zones["Lower floors north"]["infiltration_cfm"] == pytest.approx(40, rel=1e-12)
    assert zones["Top floor north"]["infiltration_cfm"] == pytest.approx(76, rel=1e-12)
    assert zones["Lower floors core"]["ua_btuh_f"] == 0


def buildings():
    share = st.floats(0, 0.95)
    return st.builds(
        Building,
        floor_area_ft2=st.floats(5_000, 500_000), floors=st.integers(1, 12), aspect_ratio=st.floats(1, 10),
        floor_height_ft=st.floats(8, 30), perimeter_depth_ft=st.floats(5, 40), glazing_north_frac=share,
        glazing_east_frac=share, glazing_south_frac=share, glazing_west_frac=share, wall_u=st.floats(0.01, 1.5),
        roof_u=st.floats(0.01, 1.5), window_u=st.floats(0.1, 1.5), infiltration_cfm_ft2=st.floats(0, 1),
        zones_per_facade=st.none() | st.integers(1, 3), core_zones=st.none() | st.integers(1, 4),
        zone_area_ft2=st.floats(200, 10_000), diversity_frac=st.floats(0, 0.8),
    )  # fmt: skip


@pytest.mark.invariant
@given(buildings(), st.floats(0, 0.9), st.integers(1, 5))
def test_nothing_of_the_building_is_lost(building, special_share, count):
    """Floor area, roof, glass, conductance and infiltration of all zones are those of the building."""
    problems = Problems()
    footprint = footprint_of(building)
    area = special_share * footprint.core_ft2 * building.floors / count
    specials = [Special(name="Network", group="it", area_ft2=area, count=count)] if 20 <= area <= 100_000 else []
    zones = [zone.values for zone in quick_zones(building, specials, "office", problems)]
    assume(not problems.items)
    floor_ft2 = building.floor_area_ft2 / building.floors
    wall = {facade: footprint.wall_length_ft(facade) * building.floor_height_ft * building.floors for facade in FACADES}
    glass = {facade: wall[facade] * getattr(building, f"glazing_{facade}_frac") for facade in FACADES}
    # 1e-9: sums of some tens of terms in floating point.
    assert total(zones, "area_ft2") == pytest.approx(building.floor_area_ft2, rel=1e-9)
    assert total(zones, "roof_ft2") == pytest.approx(floor_ft2, rel=1e-9)
    for facade in FACADES:
        assert total(zones, f"glass_{facade}_ft2") == pytest.approx(glass[facade], rel=1e-9)
    opaque = sum(wall.values()) - sum(glass.values())
    ua = building.wall_u * opaque + building.window_u * sum(glass.values()) + building.roof_u * floor_ft2
    assert total(zones, "ua_btuh_f") == pytest.approx(ua, rel=1e-9)
    shell = sum(wall.values()) + floor_ft2
    assert total(zones, "infiltration_cfm") == pytest.approx(building.infiltration_cfm_ft2 * shell, rel=1e-9)
    people = sum(zone["area_ft2"] * zone["multiplier"] * zone.get("gain_multiplier", 1.0) for zone in zones)
    assert people == pytest.approx(building.floor_area_ft2, rel=1e-9)  # gains of all zones are those of the group
    assert min(zone["area_ft2"] for zone in zones) >= 10
    if building.zones_per_facade is None and building.core_zones is None:
        assert len(zones) <= MOST_LINES
    assert len({zone["name"] for zone in zones}) == len(zones)


@pytest.mark.invariant
def test_a_small_floor_has_no_core():
    """30 x 20 ft with 15 ft perimeter: the depth is cut to half the footprint, and all is perimeter."""
    zones = zones_of(one_each(floor_area_ft2=600.0, aspect_ratio=1.5))
    assert [zone["name"] for zone in zones] == ["North", "East", "South", "West"]
    assert [zone["area_ft2"] for zone in zones] == pytest.approx([200, 100, 200, 100], rel=1e-12)


@pytest.mark.invariant
def test_parts_are_numbered_and_equal():
    zones = zones_of(Building(floor_area_ft2=20_000.0, zones_per_facade=2, core_zones=3))
    names = [zone["name"] for zone in zones]
    assert names[:2] == ["North 1", "North 2"] and names[-3:] == ["Core 1", "Core 2", "Core 3"]
    assert zones[0]["area_ft2"] == zones[1]["area_ft2"]


@pytest.mark.invariant
def test_special_zones_come_out_of_the_core():
    building = one_each(floor_area_ft2=60_000.0, floors=3)
    special = Special(name="Meeting", group="meeting", area_ft2=600.0, count=6, rogue="starved_branch", sat_max_f=60.0)
    plain, zones = zones_of(building), zones_of(building, [special])
    core = [zone for zone in zones if zone["name"].endswith("core")]
    before = [zone for zone in plain if zone["name"].endswith("core")]
    assert before[0]["area_ft2"] - core[0]["area_ft2"] == pytest.approx(1200, rel=1e-9)  # 6 x 600 over 3 floors
    made = zones[-1]
    assert (made["name"], made["group"], made["multiplier"]) == ("Meeting", "meeting", 6)
    assert (made["rogue"], made["sat_max_f"], made["roof_ft2"]) == ("starved_branch", 60.0, 200.0)


def test_the_whole_core_may_be_special():
    building = one_each(floor_area_ft2=10_000.0, aspect_ratio=1.0, perimeter_depth_ft=20.0)  # core 60 x 60 ft
    zones = zones_of(building, [Special(name="Hall", group="hall", area_ft2=3600.0)])
    assert [zone["name"] for zone in zones] == ["North", "East", "South", "West", "Hall"]


@pytest.mark.parametrize(
    ("building", "specials", "words"),
    [
        ({"floor_area_ft2": 10_000.0}, [("A", 9_000.0, 1)], "more than the core"),
        ({"floor_area_ft2": 10_000.0, "aspect_ratio": 1.0, "perimeter_depth_ft": 20.0}, [("A", 3_595.0, 1)], "leave "
                                                                                                             "5.0 ft2"),
        ({"floor_area_ft2": 10_000.0, "floors": 40}, [], "250 ft2 on each of 40 floors"),
        ({"floor_area_ft2": 500.0, "aspect_ratio": 10.0, "zones_per_facade": 6}, [], "below the smallest"),
        ({"floor_area_ft2": 5_000_000.0, "core_zones": 1}, [], "above the largest"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_said(building, specials, words):
    problems = Problems()
    records = [Special(name=name, group="g", area_ft2=area, count=count) for name, area, count in specials]
    assert quick_zones(Building(**building), records, "office", problems) == []
    assert any(words in problem.text for problem in problems.items)


def test_no_floor_area_no_zones():
    assert quick_zones(Building(), [], None, Problems()) == []


@pytest.mark.invariant
def test_shares_rise_from_core_to_the_far_ends():
    zones = quick_zones(
        one_each(floor_area_ft2=60_000.0, floors=3), [Special(name="IT", group="it", area_ft2=200.0)], "o", Problems()
    )
    shares = spread_index_share([zone.nearness for zone in zones], 0.4)
    order = [zone.values["name"] for _, zone in sorted(zip(shares, zones, strict=True), key=lambda pair: pair[0])]
    assert order == [
        "Lower floors core", "Top floor core", "IT", "Lower floors north", "Top floor north", "Lower floors south",
        "Top floor south", "Lower floors east", "Top floor east", "Lower floors west", "Top floor west",
    ]  # fmt: skip
    ranked = sorted(shares)
    assert ranked[0] == 0.4 and ranked[-1] == 1.0
    assert [b - a for a, b in zip(ranked, ranked[1:], strict=False)] == pytest.approx([0.06] * 10, rel=1e-9)


@pytest.mark.invariant
def test_a_line_has_the_share_of_its_middle_zone():
    """Three lines of 2, 6 and 2 zones: middles at 1, 5 and 9 of 10 zones, so evenly spread; of 1, 8 and 1 alike."""
    keys = [(0,), (1,), (2,)]
    assert spread_index_share(keys, 0.4, [2, 6, 2]) == pytest.approx([0.4, 0.7, 1.0], rel=1e-12)
    assert spread_index_share(keys, 0.4, [8, 1, 1]) == pytest.approx([0.4, 0.4 + 0.6 * 4.5 / 5.5, 1.0], rel=1e-12)
    assert spread_index_share(keys, 0.4, [3, 3, 3]) == spread_index_share(keys, 0.4)


@pytest.mark.invariant
def test_terminals_by_area_share_lines():
    """40,000 ft2 on 4 floors, 100 x 100 ft, 20 ft perimeter: 1,600 ft2 a facade are 2 zones, 3,600 ft2 of core 4 on
    each floor."""
    building = Building(
        floor_area_ft2=40_000.0, floors=4, aspect_ratio=1.0, perimeter_depth_ft=20.0, diversity_frac=0.2
    )
    zones = zones_of(building)
    of = {
        kind: [zone for zone in zones if zone["name"].startswith(kind)]
        for kind in ("Lower floors north", "Lower floors core", "Top floor core")
    }
    assert [zone["multiplier"] for zone in of["Lower floors north"]] == [1, 1, 2, 1, 1]  # 2 x 3 floors in five lines
    assert [zone["multiplier"] for zone in of["Lower floors core"]] == [3, 2, 2, 2, 3]  # 4 x 3 floors
    assert [zone["multiplier"] for zone in of["Top floor core"]] == [1, 1, 1, 1]
    assert of["Lower floors core"][0]["area_ft2"] == pytest.approx(900, rel=1e-12)
    assert sorted(zone["gain_multiplier"] for zone in of["Lower floors north"]) == pytest.approx(
        [0.8, 0.9, 1.0, 1.1, 1.2], rel=1e-12
    )
    assert sum(zone["multiplier"] for zone in zones) == 4 * (4 * 2 + 4)


@pytest.mark.invariant
@given(st.floats(5_000, 500_000), st.integers(1, 12), st.floats(300, 3_000), st.floats(0, 0.8), st.integers(0, 50))
def test_gains_differ_without_a_trend(area, floors, zone_area, diversity, specials):
    """Of each kind: the mean stays, the ends are 1 less and more the diversity, and lines stay few whatever stands
    beside them."""
    problems = Problems()
    rooms = [Special(name=f"Room {k}", group="it", area_ft2=20.0) for k in range(specials)]
    zones = [
        z.values
        for z in quick_zones(
            Building(floor_area_ft2=area, floors=floors, zone_area_ft2=zone_area, diversity_frac=diversity),
            rooms,
            "office",
            problems,
        )
    ]
    assume(not problems.items)
    assert len(zones) <= MOST_LINES
    kinds = {}
    for zone in zones[: len(zones) - specials]:
        kinds.setdefault(zone["name"].rstrip("0123456789 "), []).append(zone)
    for lines in kinds.values():
        gains, counts = [z["gain_multiplier"] for z in lines], [z["multiplier"] for z in lines]
        assert len(lines) <= MOST_LINES_OF_KIND and counts == counts[::-1]
        assert sum(g * n for g, n in zip(gains, counts, strict=True)) == pytest.approx(sum(counts), rel=1e-12)
        if len(lines) > 1:
            assert [min(gains), max(gains)] == pytest.approx([1 - diversity, 1 + diversity], rel=1e-12)
        if len(lines) > 3:
            assert abs(sum(k * g for k, g in enumerate(gains)) - sum(range(len(gains)))) < 1e-12 * len(gains)


@pytest.mark.invariant
@given(st.lists(st.tuples(st.integers(0, 5), st.integers(0, 2)), max_size=30), st.floats(0.05, 1))
def test_spread_keeps_order_and_ends(keys, low):
    shares = spread_index_share(keys, low)
    assert all(low <= share <= 1 for share in shares)
    for a, first in zip(keys, shares, strict=True):
        for b, second in zip(keys, shares, strict=True):
            assert not a < b or first <= second
    if len(keys) > 1:
        assert min(shares) == low
    if keys:
        assert max(shares) == 1 and math.isfinite(sum(shares))
