"""Areas on the ground and landing regions against shapely.

Areas are simple polygons, circles, and patches with gaps. A point exactly on an edge is the engine's own convention
(each edge owns its lower end), so no such point is among them.
"""

import numpy as np
from scipy.stats import chi2
from shapely import MultiPolygon, Point, Polygon, contains_xy, distance, points, union_all


def test_polygons(tables, figures):
    rows = tables["polygon"]
    concave, asked, held = 0, 0, 0
    for row in rows:
        area = Polygon(row["corners_m"])
        assert area.is_valid
        concave += area.area < area.convex_hull.area * (1 - 1e-9)
        x, y = np.array(row["points_m"]).T
        assert distance(points(x, y), area.exterior).min() > 1e-9
        inside = contains_xy(area, x, y)
        assert np.array_equal(inside, row["inside"])
        asked, held = asked + len(x), held + inside.sum()
    figures.append(f"{asked} points in {len(rows)} polygons, {concave} of them concave, {held} points inside: "
                   "the same as shapely")
    assert concave > 10 and 0 < held < asked


def test_patches_with_gaps(tables):
    rows = tables["patches"]
    for row in rows:
        area = MultiPolygon([Polygon(p["exterior"], p["holes"]) for p in row["patches_m"]])
        assert area.is_valid and len(area.geoms[0].interiors) == 2
        x, y = np.array(row["points_m"]).T
        assert distance(points(x, y), area.boundary).min() > 1e-9
        inside = contains_xy(area, x, y)
        assert np.array_equal(inside, row["inside"])
        gap = contains_xy(Polygon(area.geoms[0].interiors[0]), x, y)
        assert gap.any() and not inside[gap].any()
        assert np.isclose(area.area, row["area_m2"], rtol=1e-12)
    assert len(rows) == 6


def test_circles(tables):
    for row in tables["circle"]:
        away = distance(points(row["points_m"]), Point(row["centre_m"]))
        assert np.abs(away - row["radius_m"]).min() > 1e-9
        assert np.array_equal(away < row["radius_m"], row["inside"])
        assert 0 < sum(row["inside"]) < len(away)


def test_landing_regions(tables, figures):
    """The outline is valid, wound as GeoJSON asks, has the area it is said to have, and holds the share it is said to
    hold, at least the one asked for."""
    rows = tables["region"]
    holes = 0
    for row in rows:
        x, y = np.array(row["landings_m"]).T
        for region in row["regions"]:
            patches = [Polygon(p["exterior"], p["holes"]) for p in region["outline"]]
            assert all(p.is_valid and p.exterior.is_ccw for p in patches)
            assert not any(hole.is_ccw for p in patches for hole in p.interiors)
            holes += sum(len(p.interiors) for p in patches)
            whole = union_all(patches)
            assert np.isclose(whole.area, region["area_m2"], rtol=1e-12)
            assert np.isclose(sum(p.area for p in patches), region["area_m2"], rtol=1e-12), "patches overlap"
            held = np.mean(contains_xy(whole, x, y))
            assert held == region["held"] >= region["share"]
    figures.append(f"{sum(len(r['regions']) for r in rows)} landing regions with {holes} holes hold what they say, "
                   "by shapely")
    assert holes > 0


def test_landing_ellipses(tables):
    """What an ellipse holds, counted by Mahalanobis' distance from NumPy's covariance."""
    for row in tables["region"]:
        landings = np.array(row["landings_m"])
        # Landings are rounded to 2^-16 m before they are summed.
        assert np.allclose(row["mean_m"], landings.mean(axis=0), atol=2**-17)
        covariance = np.cov(landings.T)
        assert np.allclose(row["covariance_m2"], covariance, rtol=1e-6)
        away = landings - landings.mean(axis=0)
        squared = np.einsum("ij,jk,ik->i", away, np.linalg.inv(covariance), away)
        for region in row["regions"]:
            # One landing may sit on the edge to within the rounding.
            assert abs(np.sum(squared <= chi2.ppf(region["share"], 2)) - region["in_ellipse"]) <= 1
