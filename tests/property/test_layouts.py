"""What every layout keeps, over a thousand seeds: balance, spacing, matched length, newness."""

import itertools
import math
import statistics

import pytest

from tasks import layout
from tasks.layout import PursuitOptions, SlideOptions, TappingOptions, TrailOptions
from tasks.pursuit import chip_mm
from tasks.registry import make_settings

SEEDS = range(1000)


def drawn(name, options, seeds=SEEDS):
    return [make_settings(name, options, seed, hand="right") for seed in seeds]


@pytest.fixture(scope="module")
def tappings():
    return drawn("tapping", TappingOptions())


@pytest.fixture(scope="module")
def trails():
    """A thousand trails: 250 blocks of four."""
    return drawn("trail", TrailOptions(), range(250))


def test_tapping_sides_alternate_and_every_set_of_eight_is_balanced(tappings):
    """Every direction once in each set, so any whole number of sets is balanced."""
    for settings in tappings:
        sides = [x_mm > 0 for x_mm, _ in settings.targets_mm]
        assert all(a != b for a, b in itertools.pairwise(sides))
        first = set(settings.targets_mm[:8])
        assert len(first) == 8
        for begin in range(0, len(settings.targets_mm), 8):
            assert set(settings.targets_mm[begin : begin + 8]) == first
        assert len(settings.targets_mm) == len(settings.foreperiods_s) == 96


def test_tapping_targets_lie_at_the_stated_directions_and_reach(tappings):
    """20, 40, 60, 80 degrees from up to either side, 75 mm from home at (0, -38)."""
    for settings in tappings:
        assert (settings.home_x_mm, settings.home_y_mm) == (0.0, -38.0)
        for x_mm, y_mm in settings.targets_mm:
            assert math.hypot(x_mm, y_mm + 38) == pytest.approx(75.0)
            degrees = math.degrees(math.atan2(abs(x_mm), y_mm + 38))
            assert min(abs(degrees - d) for d in (20, 40, 60, 80)) < 1e-9


def jump_deg(a_mm, b_mm):
    """Angle between two places for an eye 500 mm in front of the centre (scalar product)."""
    a, b = (*a_mm, 500.0), (*b_mm, 500.0)
    dot = sum(p * q for p, q in zip(a, b, strict=True))
    return math.degrees(math.acos(dot / (math.hypot(*a) * math.hypot(*b))))


def test_eyes_jump_no_wider_than_20_degrees(tappings):
    widest = max(
        jump_deg(a, b)
        for settings in tappings
        for a, b in itertools.pairwise(settings.targets_mm)
    )
    assert 15 < widest <= 20


def test_the_widest_reach_allowed_is_where_the_jump_reaches_20_degrees():
    reach_mm = layout.widest_reach_mm()
    settings = make_settings("tapping", TappingOptions(reach_mm=reach_mm), 1, hand="right")
    # The outermost pair, 80 degrees to either side, seen from in front of its middle.
    half_mm = max(x_mm for x_mm, _ in settings.targets_mm)
    assert 2 * math.degrees(math.atan2(half_mm, 500)) == pytest.approx(20.0)
    with pytest.raises(ValueError, match="eyes jump 20 degrees"):
        make_settings("tapping", TappingOptions(reach_mm=reach_mm + 0.1), 1, hand="right")


def test_foreperiods_are_even_between_half_and_one_and_a_half_seconds(tappings):
    """Uniform: mean 1, SD 1/sqrt(12) = 0.2887 (any textbook); 96,000 draws."""
    all_s = [s for settings in tappings for s in settings.foreperiods_s]
    assert min(all_s) >= 0.5
    assert max(all_s) <= 1.5
    assert statistics.fmean(all_s) == pytest.approx(1.0, abs=0.005)
    assert statistics.pstdev(all_s) == pytest.approx(12**-0.5, abs=0.005)


def test_no_direction_follows_another_more_often_than_chance(tappings):
    """Within a set the order on each side is one of 24 at random: the first of each side is
    each direction in a quarter of the sets (12,000 sets; 4 SE = 0.016).
    """
    firsts = [
        settings.targets_mm[begin]
        for settings in tappings
        for begin in range(0, 96, 8)
    ]  # fmt: skip
    heights = [round(y_mm, 6) for _, y_mm in firsts]
    for height in set(heights):
        assert heights.count(height) / len(heights) == pytest.approx(0.25, abs=0.016)


@pytest.mark.parametrize("name", ["tapping", "slide"])
def test_either_side_comes_first_equally_often(name, tappings):
    """1000 fair draws: 500 +- 4 SD of 15.8."""
    if name == "tapping":
        left = sum(settings.targets_mm[0][0] < 0 for settings in tappings)
    else:
        left = sum(s.first_side == "left" for s in drawn("slide", SlideOptions()))
    assert 437 <= left <= 563


@pytest.mark.parametrize("name", ["tapping", "slide", "pursuit"])
def test_a_thousand_seeds_give_a_thousand_layouts(name, tappings):
    options = {"slide": SlideOptions(), "pursuit": PursuitOptions()}
    layouts = tappings if name == "tapping" else drawn(name, options[name])
    assert len(set(layouts)) == 1000


def test_a_thousand_trails_are_a_thousand_trails(trails):
    """Mirrored and turned copies are not new ones either: their link lengths are the same."""
    forms = [form.nodes_mm for settings in trails for form in settings.forms]
    shapes = {
        tuple(round(math.dist(a, b), 3) for a, b in itertools.pairwise(nodes))
        for nodes in forms
    }
    assert len(shapes) == len(forms) == 1000


def test_pursuit_stays_on_its_track():
    """The unpredictable part within 60 mm, the predictable within 50."""
    for settings in drawn("pursuit", PursuitOptions(), range(100)):
        assert settings.track_half_mm == 75.0
        xs_mm = [abs(chip_mm(settings, k / 20)[0]) for k in range(20 * 66)]
        assert max(xs_mm[: 20 * 23]) <= 50.0
        assert 35.0 < max(xs_mm[20 * 23 :]) <= 60.0


def test_pursuit_sets_off_to_either_side():
    """The chip first moves left in half of the seeds, 500 +- 4 SD of 15.8."""
    left = sum(chip_mm(s, 0.05)[0] < 0 for s in drawn("pursuit", PursuitOptions()))
    assert 437 <= left <= 563


def off_link_mm(p, a, b):
    """Distance of a point from a link by a search along the link (a second implementation)."""

    def at(share):
        return math.dist(p, (a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])))

    low, high = 0.0, 1.0
    for _ in range(60):  # the distance along a straight link has one minimum
        third = (high - low) / 3
        low, high = (
            (low, high - third) if at(low + third) < at(high - third) else (low + third, high)
        )
    return at(low)


def links_of(nodes):
    return list(itertools.pairwise(nodes))


def check_trail(nodes, half_x_mm, half_y_mm, length_mm):
    assert all(abs(x) <= half_x_mm and abs(y) <= half_y_mm for x, y in nodes)
    assert all(math.dist(a, b) >= 22.0 for a, b in itertools.combinations(nodes, 2))
    lengths_mm = [math.dist(a, b) for a, b in links_of(nodes)]
    assert all(22.0 <= length <= 80.0 for length in lengths_mm)
    assert 0.95 <= sum(lengths_mm) / length_mm <= 1.05


def check_clear(nodes):
    """No link comes nearer than 11 mm to a node that is not its own."""
    for number, (a, b) in enumerate(links_of(nodes)):
        for other, node in enumerate(nodes):
            if other not in (number, number + 1):
                assert off_link_mm(node, a, b) >= 11.0 - 1e-6


def test_trails_keep_their_distances_and_their_length(trails):
    """Default: 8 nodes in 168 x 60 mm, 7 links of 48 mm on average, all within 5 %."""
    for settings in trails:
        assert [form.kind for form in settings.forms] == [
            "numbers", "alternating", "alternating", "numbers",
        ]  # fmt: skip
        for form in settings.forms:
            assert len(form.nodes_mm) == len(form.labels) == 8
            check_trail(form.nodes_mm, 84.0, 30.0, 7 * 48.0)


def test_links_keep_clear_of_other_nodes(trails):
    for settings in trails[::5]:
        for form in settings.forms:
            check_clear(form.nodes_mm)


def test_numbers_and_alternating_are_matched(trails):
    """Same length on average: the difference of the means of 500 and 500 trails stays within
    four of its standard errors.
    """
    by_kind = {"numbers": [], "alternating": []}
    for settings in trails:
        for form in settings.forms:
            by_kind[form.kind].append(sum(math.dist(a, b) for a, b in links_of(form.nodes_mm)))
    a_mm, b_mm = by_kind.values()
    se_mm = math.hypot(statistics.stdev(a_mm), statistics.stdev(b_mm)) / math.sqrt(500)
    assert abs(statistics.fmean(a_mm) - statistics.fmean(b_mm)) < 4 * se_mm


def test_trails_favour_no_side(trails):
    """Nodes lie on the left as often as on the right: 8000 of them, but those of one trail hang
    together, so the mean place of each of 1000 trails is looked at.
    """
    means_mm = [
        statistics.fmean(x for x, _ in form.nodes_mm) for s in trails for form in s.forms
    ]
    se_mm = statistics.stdev(means_mm) / math.sqrt(len(means_mm))
    assert abs(statistics.fmean(means_mm)) < 4 * se_mm


@pytest.mark.parametrize("link_mm", [40.0, 48.0])
@pytest.mark.parametrize("kind", ["numbers", "alternating"])
def test_twenty_five_nodes_fit_in_240_by_150_mm(kind, link_mm):
    options = TrailOptions(
        kinds=(kind,), n_nodes=25, width_mm=240.0, height_mm=150.0, link_mm=link_mm
    )
    for settings in drawn("trail", options, range(8)):
        (form,) = settings.forms
        assert len(form.labels) == len(set(form.labels)) == 25
        check_trail(form.nodes_mm, 120.0, 75.0, 24 * link_mm)
        check_clear(form.nodes_mm)


@pytest.mark.parametrize(
    ("name", "options", "says"),
    [
        ("tapping", TappingOptions(duration_s=0.0), "duration_s is 0.0; it must be above 0"),
        ("tapping", TappingOptions(target_r_mm=math.nan), "target_r_mm is nan"),
        ("tapping", TappingOptions(reach_mm=20.0), "reach_mm is 20.0; it must be above 20"),
        ("tapping", TappingOptions(home_y_mm=math.inf), "home_y_mm is inf"),
        ("slide", SlideOptions(reach_mm=math.inf), "reach_mm is inf"),
        ("slide", SlideOptions(least_out_mm=10.0), "least_out_mm is 10.0; it must lie between"),
        ("slide", SlideOptions(least_out_mm=80.0), "least_out_mm is 80.0"),
        ("pursuit", PursuitOptions(predictable_s=10.0), "predictable_s is 10.0; .* of 4 s"),
        ("pursuit", PursuitOptions(predictable_s=math.nan), "predictable_s is nan"),
        ("pursuit", PursuitOptions(predictable_s=math.inf), "predictable_s is inf"),
        ("pursuit", PursuitOptions(predictable_s=-4.0), "predictable_s is -4.0"),
        ("pursuit", PursuitOptions(unpredictable_s=10.0), "unpredictable_s is 10.0; .* 20 to"),
        ("pursuit", PursuitOptions(unpredictable_s=math.nan), "unpredictable_s is nan"),
        ("pursuit", PursuitOptions(predictable_s=0.0, unpredictable_s=0.0), "both 0"),
        ("pursuit", PursuitOptions(track_half_mm=59.0), "track_half_mm is 59.0; .* least 60"),
        ("trail", TrailOptions(n_nodes=2), "n_nodes 2"),
        ("trail", TrailOptions(kinds=()), "kinds is ()"),
        ("trail", TrailOptions(kinds=("colours",)), "no trail of kind 'colours'"),
        ("trail", TrailOptions(node_r_mm=11.0), "node_r_mm is 11.0; it must be at most 10"),
        ("trail", TrailOptions(link_mm=81.0), "link_mm is 81.0; it must be 22 to 80"),
        ("trail", TrailOptions(width_mm=30.0), "no trail of 8 nodes .* 30 x 60 mm"),
    ],
)  # fmt: skip
def test_an_option_out_of_range_is_refused_with_value_and_limit(name, options, says):
    with pytest.raises(ValueError, match=says.replace("()", r"\(\)")):
        make_settings(name, options, 1, hand="right")


def test_a_part_of_no_length_is_left_out():
    def names(**options):
        settings = make_settings("pursuit", PursuitOptions(**options), 1, hand="right")
        return [part.name for part in settings.parts]

    assert names() == ["predictable", "unpredictable"]
    assert names(predictable_s=0.0) == ["unpredictable"]
    assert names(unpredictable_s=0.0) == ["predictable"]
