"""Files of an answer, read back by readers that know nothing of the service: GDAL (through pyogrio), shapely and
geographiclib for GeoJSON, GDAL, fastkml and OGC's schema for KML, libxml2 and
Pillow for pictures, GDAL and Python's csv for the table of flights. A service
of its own is asked over HTTP, as anyone asks it."""

import csv
import io
import json
import math
import re
from pathlib import Path
from statistics import NormalDist

import fastkml
import fastkml.validator
import lxml.etree
import numpy as np
import pyogrio
import pytest
import scipy.constants
from geographiclib.geodesic import Geodesic
from PIL import Image
from service import Service
from shapely import MultiPolygon, Point, Polygon, from_wkb, is_valid
from shapely.geometry import shape

EXAMPLES = Path(__file__).parents[2] / "server/examples"
EXAMPLE = EXAMPLES / "mapped-field.json"
CAUTION = ("An estimate from the listed assumptions. It approves no flight. "
           "Local codes and the range safety officer decide.")


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    with Service(tmp_path_factory.mktemp("data")) as running:
        yield running


@pytest.fixture(scope="module")
def request_sent():
    return json.loads(EXAMPLE.read_text())


@pytest.fixture(scope="module")
def answer(service):
    return json.loads(service.get("/v1/assessments", EXAMPLE.read_bytes()))


@pytest.fixture(scope="module")
def sweep(service):
    return json.loads(service.get("/v1/sweeps", (EXAMPLES / "sweeps/meadow.json").read_bytes()))


@pytest.fixture(scope="module")
def files(service, answer, tmp_path_factory):
    """Every file of the delay of 7 s, on disk."""
    folder = tmp_path_factory.mktemp("files")
    for name in ["landing.geojson", "landing.kml"]:
        (folder / name).write_bytes(service.get(f"/v1/assessments/{answer['id']}/{name}?delay=7"))
    return folder


@pytest.fixture(scope="module")
def landing(answer):
    return next(d for d in answer["delays"] if d["label"] == "delay 7 s")["landing"]


def signed_area(ring):
    x, y = np.array(ring).T
    return np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]) / 2


def from_pad(answer, longitude, latitude):
    """Metres east and north of the pad by the geodesic."""
    pad = answer["site"]["pad"]["position"]
    to = Geodesic.WGS84.Inverse(pad["latitude_deg"], pad["longitude_deg"], latitude, longitude)
    azimuth = math.radians(to["azi1"])
    return to["s12"] * math.sin(azimuth), to["s12"] * math.cos(azimuth)


def test_geojson_follows_rfc_7946(files):
    collection = json.loads((files / "landing.geojson").read_text())
    assert collection["type"] == "FeatureCollection" and collection["caution"] == CAUTION
    assert "crs" not in collection, "RFC 7946 knows one reference system and no member for it"
    polygons = 0
    for feature in collection["features"]:
        assert set(feature) == {"type", "geometry", "properties"}
        geometry = shape(feature["geometry"])
        assert is_valid(geometry), feature["properties"]
        parts = feature["geometry"]["coordinates"]
        for rings in {"Polygon": [parts], "MultiPolygon": parts}.get(feature["geometry"]["type"], []):
            polygons += 1
            assert all(ring[0] == ring[-1] and len(ring) >= 4 for ring in rings)
            assert signed_area(rings[0]) > 0 and all(signed_area(hole) < 0 for hole in rings[1:])
    assert polygons > 50


def test_geojson_read_by_gdal(files, answer, landing, request_sent, figures):
    """GDAL finds longitude and latitude by WGS 84, and where it finds the features is where the answer and the request
    have them."""
    meta, _, geometries, columns = pyogrio.raw.read(files / "landing.geojson")
    assert meta["crs"] in ("EPSG:4326", "OGC:CRS84")
    table = dict(zip(meta["fields"], columns))
    kind, failure, name = table["kind"], table["failure"], table["name"]
    shapes = from_wkb(geometries)
    assessed = [shapes[k] for k in range(len(shapes)) if failure[k] is None and kind[k] == "region"]
    worst = 0.0
    for found, region in zip(assessed, landing["regions"], strict=True):
        patches = found.geoms if isinstance(found, MultiPolygon) else [found]
        for polygon, patch in zip(patches, region["outline"], strict=True):
            for corner, (east, north) in zip(polygon.exterior.coords, patch["exterior_m"], strict=True):
                there = from_pad(answer, *corner)
                worst = max(worst, math.dist(there, (east, north)))
    # 1e-7 deg is 1.1 cm, and a landing 1 km off has its metres to a centimetre.
    assert worst < 0.02
    for feature in request_sent["site"]["map"]["features"]:
        (k,) = [k for k in range(len(shapes)) if kind[k] == "area" and name[k] == feature["properties"]["name"]]
        assert shapes[k].normalize().equals_exact(shape(feature["geometry"]).normalize(), 3e-7), name[k]
        assert table["role"][k] == feature["properties"]["role"]
    (mean,) = [shapes[k] for k in range(len(shapes)) if kind[k] == "mean" and failure[k] is None]
    assert math.dist(from_pad(answer, mean.x, mean.y), (landing["mean_east_m"], landing["mean_north_m"])) < 0.02
    (largest,) = [shapes[k] for k in range(len(shapes)) if kind[k] == "ellipse" and failure[k] is None
                  and table["share_asked"][k] == 0.95]
    asked = next(e for e in landing["ellipses"] if e["share_asked"] == 0.95)
    metres = Polygon([from_pad(answer, *corner) for corner in largest.exterior.coords])
    full = math.pi * asked["semi_major_m"] * asked["semi_minor_m"]
    # A polygon of 96 corners on an ellipse has sin(2 pi / 96) / (2 pi / 96) of its area.
    assert math.isclose(metres.area, full * math.sin(2 * math.pi / 96) / (2 * math.pi / 96), rel_tol=2e-4)
    figures.append(f"landing.geojson by GDAL: {len(shapes)} features, regions within {worst * 1000:.0f} mm of the answer")


def test_chances_of_areas_by_geodesic_and_shapely(service, request_sent, figures):
    """Every flight is flown again, its landing put on the globe by the geodesic from the pad, and looked for in the areas
    as they were sent, by shapely: as many as the answer says, in each area and outside the field."""
    request = request_sent | {"flights": 256}
    answer = json.loads(service.get("/v1/assessments", json.dumps(request).encode()))
    pad = answer["site"]["pad"]["position"]
    areas = [shape(f["geometry"]) for f in request["site"]["map"]["features"]]
    (field,) = [area for area, told in zip(areas, answer["site"]["areas"]) if told["role"] == "field"]
    sure, near = np.zeros((2, len(answer["delays"]), len(areas)), int)
    for index in range(256):
        flight = json.loads(service.get(f"/v1/assessments/{answer['id']}/flights/{index}"))
        for way, delay in enumerate(flight["delays"]):
            east, north = delay["landing"]["east_m"], delay["landing"]["north_m"]
            azimuth = math.degrees(math.atan2(east, north))
            at = Geodesic.WGS84.Direct(pad["latitude_deg"], pad["longitude_deg"], azimuth, math.hypot(east, north))
            place = Point(at["lon2"], at["lat2"])
            # Pad and landing are told to a centimetre: nearer than two to an edge nothing can be said.
            unsure = np.array([area.boundary.distance(place) < 2e-7 for area in areas])
            near[way] += unsure
            sure[way] += np.array([area.contains(place) for area in areas]) & ~unsure
    found = np.array([[a["inside"]["flights_expected"] for a in d["landing"]["areas"]] for d in answer["delays"]])
    assert np.all(sure <= found) and np.all(found <= sure + near)
    assert near.sum() <= 5 < sure.sum() / 100
    outside = np.array([d["landing"]["outside_fields"]["flights_expected"] for d in answer["delays"]])
    in_field = areas.index(field)
    assert np.array_equal(outside, 256 - found[:, in_field])
    assert (sure.sum(axis=0) > 0).sum() >= 4, "areas are hit"
    figures.append(f"{sure.sum()} landings of 256 flights by {len(sure)} delays in {len(areas)} areas of a map: the same "
                   f"as shapely and geographiclib, but for {near.sum()} within 2 cm of an edge")


def test_kml_fits_its_schema_and_readers(files, answer, landing, figures):
    """OGC's schema of KML 2.2 as fastkml ships it, libxml2, fastkml and GDAL."""
    path = files / "landing.kml"
    lxml.etree.parse(str(path))
    assert fastkml.validator.validate(file_to_validate=path)
    document = fastkml.KML.parse(path, strict=True).features[0]
    assert CAUTION in document.description and answer["id"] in document.description
    folders = {folder.name: folder for folder in document.features}
    assert list(folders)[:2] == ["Field", "Landing, delay 7 s"]
    assert len(folders) >= 2 + len([f for f in answer["failures"]["each"] if f["landing"]])
    area = {mark.name.split(":")[0]: mark for mark in folders["Field"].features}
    assert {a["name"] for a in answer["site"]["areas"]} < set(area)
    data = {d.name: d.value for d in area["meadow"].extended_data.elements}
    assert float(data["outside_upper"]) == landing["areas"][0]["outside"]["upper"]
    assert len(list(shape(area["ponds"].geometry).geoms)) == 2
    layers = pyogrio.list_layers(path)
    named = {layer: pyogrio.raw.read(path, layer=layer) for layer, _ in layers}
    assert sum(len(found[2]) for found in named.values()) == sum(len(f.features) for f in folders.values())
    geojson = json.loads((files / "landing.geojson").read_text())
    whole = shape(next(f for f in geojson["features"] if f["properties"]["kind"] == "region")["geometry"])
    marks = {mark.name: mark for mark in folders["Landing, delay 7 s"].features}
    same = shape(marks["50 % land here"].geometry)
    assert same.symmetric_difference(whole).area == 0, "the same places as the GeoJSON"
    figures.append(f"landing.kml: valid by OGC's schema; {len(layers)} folders by GDAL and fastkml")


@pytest.mark.parametrize("latitude, longitude", [(12, 180), (-45, -179.9995), (71, 179.998), (90, 0), (-89.9985, 120)])
def test_rings_where_longitude_leaps(service, request_sent, figures, tmp_path, latitude, longitude):
    """Where the meridian of 180 degrees runs through the field, and about the poles: cut as RFC 7946 asks (3.1.9), valid
    by shapely, read by GDAL, and as large as the answer says by the geodesic."""
    site = {key: value for key, value in request_sent["site"].items() if key not in ("map", "pads")}
    site |= {"position": {"latitude": latitude, "longitude": longitude}, "areas": [
        {"name": "field", "role": "field", "circle": {"radius": 400}},
        {"name": "road", "role": "road", "polygon": [[-700, 90], [-700, 80], [700, 80], [700, 90]]}]}
    launch = {key: value for key, value in request_sent["launch"].items() if key != "pad"}
    request = request_sent | {"site": site, "launch": launch, "flights": 256}
    answer = json.loads(service.get("/v1/assessments", json.dumps(request).encode()))
    path = tmp_path / "landing.geojson"
    path.write_bytes(service.get(f"/v1/assessments/{answer['id']}/landing.geojson"))
    collection = json.loads(path.read_text())
    assert len(pyogrio.raw.read(path)[2]) == len(collection["features"])
    pole = math.copysign(90, latitude)
    cut, worst = 0, 0.0
    for feature in collection["features"]:
        geometry, told = feature["geometry"], feature["properties"]
        if geometry["type"] == "Point":
            continue
        assert is_valid(shape(geometry)), told
        parts = [geometry["coordinates"]] if geometry["type"] == "Polygon" else geometry["coordinates"]
        meridian = lambda part: {place[0] for place in part[0] if abs(place[0]) == 180}
        cut += any(meridian(part) for part in parts)
        area = 0.0
        for ring in (ring for part in parts for ring in part):
            for (west, south), (east, north) in zip(ring, ring[1:]):
                assert abs(east - west) < 180 or south == north == pole
            polygon = Geodesic.WGS84.Polygon()
            for longitude_deg, latitude_deg in ring[:-1]:
                polygon.AddPoint(latitude_deg, longitude_deg)
            area += polygon.Compute(False, True)[2]
        corners = math.sin(2 * math.pi / 96) / (2 * math.pi / 96)
        expected = {"region": told.get("area_m2"), "area": math.pi * 400**2 * corners if told.get("radius_m") else 1400 * 10,
                    "ellipse": math.pi * told.get("semi_major_m", 0) * told.get("semi_minor_m", 0) * corners}[told["kind"]]
        worst = max(worst, abs(area / expected - 1))
    assert cut > 10
    # Degrees have seven decimals, 1.1 cm: of a road 10 m wide a thousandth.
    assert worst < 3e-3
    figures.append(f"{cut} areas and clouds cut at 180 degrees, field at {latitude} {longitude}: valid by shapely, areas "
                   f"within {worst:.1e} by geographiclib")


SVG = "{http://www.w3.org/2000/svg}"
PICTURES = ["landing", "deploy-speed"]


def picture(service, answer, name):
    return service.get(f"/v1/assessments/{answer['id']}/{name}")


def stands_alone(root, titled, told_id):
    """Alone in the world, and told in words."""
    assert root.tag == SVG + "svg" and root.get("viewBox").startswith("0 0 360 ")
    assert {element.tag.removeprefix(SVG) for element in root.iter()} <= {
        "svg", "title", "desc", "rect", "text", "path", "circle", "g", "clipPath", "mask"}
    title, told = root.find(SVG + "title"), root.find(SVG + "desc")
    assert titled in title.text and told.text.startswith(CAUTION)
    assert root.get("role") == "img" and root.get("aria-labelledby").split() == [title.get("id"), told.get("id")]
    words = " ".join(" ".join(element.itertext()) for element in root.iter(SVG + "text"))
    assert CAUTION in words and told_id in words


ORANGE, INK = (0x92, 0x38, 0x00), (0x1A, 0x1A, 0x1A)


def painted(root, octets, held=ORANGE):
    """Three pixels a unit of the SVG, opaque and mostly white; blue is what flies, orange what it is held against."""
    image = Image.open(io.BytesIO(octets))
    assert image.format == "PNG" and image.size == (1080, 3 * int(root.get("height")))
    pixels = np.asarray(image.convert("RGBA")).reshape(-1, 4)
    assert pixels[:, 3].min() == 255
    alike = lambda colour: np.mean(np.abs(pixels[:, :3].astype(int) - colour).max(axis=1) < 12)
    assert alike((255, 255, 255)) > 0.4
    assert alike(held) > 0.001
    assert np.mean((pixels[:, 2].astype(int) - pixels[:, 0]) > 40) > 0.01
    return image


@pytest.mark.parametrize("name", [*PICTURES, "wind", "flight-paths"])
def test_svg_by_libxml2(service, answer, name):
    stands_alone(lxml.etree.fromstring(picture(service, answer, f"{name}.svg")), answer["name"], answer["id"])


@pytest.mark.parametrize("name", PICTURES)
def test_png_by_pillow(service, answer, name):
    painted(lxml.etree.fromstring(picture(service, answer, f"{name}.svg")), picture(service, answer, f"{name}.png"))


def test_heat_map_by_libxml2_and_pillow(service, sweep, figures):
    """Each chance stands in the row of its hour and the column of its delay below its tilt, bold in a frame where the
    answer has every condition met, and the PNG has the shade of the SVG there."""
    at = f"/v1/sweeps/{sweep['id']}/heat-map"
    root = lxml.etree.fromstring(service.get(at + ".svg"))
    stands_alone(root, "Chance of an unsafe opening", sweep["id"])
    pixels = np.asarray(painted(root, service.get(at + ".png"), INK).convert("RGB")).astype(int)
    place = lambda t: (float(t.get("x")), float(t.get("y")))
    texts = list(root.iter(SVG + "text"))
    tilts = {text.text: place(text)[1] for text in texts if text.text.startswith("tilt ") and text.get("x") == "10"}
    heads = [(*place(text), text.text) for text in texts if re.fullmatch(r"\d+ s", text.text)]
    rows = [(*place(text), text.text) for text in texts if text.get("text-anchor") == "end"]
    edges = lambda rect: [float(rect.get(name, "0")) for name in ("x", "y", "width", "height")]
    rects = [(*edges(rect), rect.get("fill")) for rect in root.iter(SVG + "rect")]
    framed = [r for r in rects if r[4] == "none"]
    axes = {axis["axis"]: axis["labels"] for axis in sweep["axes"]}
    assert list(axes) == ["hours", "tilts"] and list(tilts) == [f"tilt {label}" for label in axes["tilts"]]
    read = 0
    for cell in sweep["cells"]:
        hour, tilt = (axes[name][step] for name, step in zip(axes, cell["at"]))
        above = tilts[f"tilt {tilt}"]
        y = min(row for _, row, words in rows if words == hour and row > above)
        for delay in cell["delays"]:
            x, _ = min(((x, head) for x, head, words in heads if f"delay {words}" == delay["label"] and head > above),
                       key=lambda found: found[1])
            (text,) = [t for t in texts if place(t) == (x, y)]
            chance, lower, upper = (100 * delay["checks"][0][name] for name in ("chance", "lower", "upper"))
            bound, number = re.fullmatch(r"([<>]?)([\d.]+)", text.text).groups()
            # Shown to a tenth near 0 and 100, else whole; what is next to either by that end of its interval, rounded outwards.
            half = 0.0501 if "." in number else 0.501
            shown = float(number)
            outwards = lambda apart: -1e-9 <= apart < 0.1
            beyond = {"<": chance < 0.05 and outwards(shown - upper), ">": chance >= 99.95 and outwards(lower - shown),
                      "": math.isclose(chance, shown, abs_tol=half)}
            assert beyond[bound], (hour, tilt, delay["label"], chance, text.text)
            met = all(check["met"] == "meets" for check in delay["checks"])
            inside = lambda r: r[0] < x < r[0] + r[2] and r[1] < y - 4 < r[1] + r[3]
            assert met == any(inside(r) for r in framed) == (text.get("font-weight") == "bold")
            # The last rectangle below the number has its paper; the corner of the cell is free of ink and frame.
            paper = [r for r in rects if r[4] != "none" and inside(r)][-1]
            left, top = (int(3 * edge) for edge in (paper[0] + 4, paper[1] + 4))
            wanted = [int(paper[4][k:k + 2], 16) for k in (1, 3, 5)]
            assert np.abs(pixels[top, left] - wanted).max() <= 2, (hour, tilt, delay["label"])
            read += 1
    # What is good is no orange, which is what speeds are held against: the frames are ink.
    for x, y, _, height, _ in framed:
        assert np.abs(pixels[int(3 * (y + height / 2)), int(3 * x)] - INK).max() <= 12
    assert read == 6 * 3 * 7 and 0 < len(framed) - 1 == sweep["feasible"]
    figures.append(f"heat-map: {read} chances of the answer by libxml2, their shades by Pillow")


def test_table_of_flights_by_gdal_and_csv(service, tmp_path, figures):
    """A label with a comma included, both readers find the same table, and its means are the chances of the answer."""
    request = json.loads((EXAMPLES / "sounding.json").read_text()) | {"flights": 256}
    answer = json.loads(service.get("/v1/assessments", json.dumps(request).encode()))
    path = tmp_path / "flights.csv"
    path.write_bytes(service.get(f"/v1/assessments/{answer['id']}/flights.csv"))
    with path.open(newline="") as text:
        rows = list(csv.DictReader(text, strict=True))
    assert rows[0]["caution"] == CAUTION and not any(row["caution"] for row in rows[1:])
    meta, _, _, columns = pyogrio.raw.read(path, read_geometry=False)
    assert len(columns[0]) == len(rows)
    for name, column in zip(meta["fields"], columns, strict=True):
        assert [row[name] for row in rows] == [text or "" for text in column], name
    assert any("," in delay["label"] for delay in answer["delays"])
    for delay in answer["delays"]:
        for limit in delay["limits"]:
            own = [row for row in rows if row["delay"] == delay["label"]
                   and math.isclose(float(row["limit_m_s"]), limit["limit_m_s"], rel_tol=1e-5)]
            assert [int(row["flight"]) for row in own] == list(range(256))
            for name in ["over", "unsafe_opening"]:
                mean = math.fsum(float(row[name]) for row in own) / 256
                # The answer has six figures.
                assert math.isclose(mean, limit[name]["estimate"], rel_tol=5.1e-6, abs_tol=1e-12), (delay["label"], name)
    figures.append(f"flights.csv: {len(rows)} rows, the same by GDAL and Python's csv, their means those of the answer")


def axes(root):
    """From places on the picture of speeds to speed and delay, by the ticks."""
    texts = [(float(t.get("x")), float(t.get("y")), t.text, t.get("text-anchor")) for t in root.iter(SVG + "text")]
    number = lambda text: text.replace(".", "", 1).isdigit()
    left = [(y - 3.5, float(text)) for x, y, text, anchor in texts if anchor == "end" and number(text)]
    speed_of = np.polynomial.Polynomial.fit(*np.array(left).T, 1)
    lowest = max(y for y, _ in left)
    row = [(x, float(text)) for x, y, text, anchor in texts if anchor == "middle" and number(text) and y < lowest + 20]
    return speed_of, np.polynomial.Polynomial.fit(*np.array(row).T, 1)


def test_bars_stand_where_the_answer_has_them(service, answer):
    """The median of every delay, read off the picture by the ticks of its axes."""
    root = lxml.etree.fromstring(picture(service, answer, "deploy-speed.svg"))
    speed_of, delay_of = axes(root)
    found = {}
    for mark in root.iter(SVG + "path"):
        if mark.get("stroke-width") == "2.4" and "h" in mark.get("d"):
            x, y, width = map(float, re.match(r"M([\d.]+) ([\d.]+)h([\d.]+)$", mark.get("d")).groups())
            found[round(delay_of(x + width / 2), 1)] = speed_of(y)
    for delay in answer["delays"]:
        median = delay["at_ejection"]["airspeed_m_s"]["p50"]
        # Places on the picture have one decimal: 0.05 of 190 for some 80 m/s.
        assert math.isclose(found[delay["motor_delay_s"]], median, abs_tol=0.06), delay["label"]
    assert len(found) == len(answer["delays"])


def test_bands_run_where_the_answer_has_them(service, answer):
    """The quantiles along the curve, read off the picture by the ticks of its axes."""
    root = lxml.etree.fromstring(picture(service, answer, "deploy-speed.svg"))
    speed_of, delay_of = axes(root)
    quantiles = ["p05", "p25", "p50", "p75", "p95"]
    told = [(p["delay_s"], p["opening_airspeed_m_s"]) for p in answer["delay_curve"] if p["opening_airspeed_m_s"]]
    assert len(told) > len(answer["delays"])
    lines = []
    for mark in root.iter(SVG + "path"):
        places = re.findall(r"([\d.]+) ([\d.]+)", mark.get("d"))
        if mark.get("fill") == "none" and mark.get("stroke") == "#08519c" and len(places) == len(told):
            lines.append([(delay_of(float(x)), speed_of(float(y))) for x, y in places])
    lines.sort(key=lambda line: line[0][1])
    assert len(lines) == len(quantiles)
    for quantile, line in zip(quantiles, lines):
        for (delay, speed), (delay_told, speeds) in zip(line, told):
            assert math.isclose(delay, delay_told, abs_tol=0.02)
            # Places on the picture have one decimal: 0.05 of 190 for some 120 m/s.
            assert math.isclose(speed, speeds[quantile], abs_tol=0.06), (quantile, delay_told)


@pytest.fixture(scope="module")
def corded(service):
    """A card with cords, as it is asked, and its answer."""
    request = json.loads((EXAMPLES / "tube-edge.json").read_text()) | {"flights": 1024}
    return request, json.loads(service.get("/v1/assessments", json.dumps(request).encode()))


def test_cords_of_the_answer(corded, figures):
    """Loads are tensions over what bears them, the wall has the quantiles of a lognormal law by Python's normal
    distribution, a wall that bears more tears less, and cords are compared by the ratio of their chances."""
    request, answer = corded
    cords = answer["cords"]
    # 1.2 mm of the paper's 25 MPa, and a standard deviation of its logarithm of 0.5: both stand in what was assumed.
    wall, law = cords["wall"], NormalDist(math.log(25 * 1.2), 0.5)
    assert wall["guessed"] and math.isclose(wall["median_n_per_mm"], 25 * 1.2, rel_tol=5.1e-6)
    for share, name in [(0.05, "p05_n_per_mm"), (0.95, "p95_n_per_mm")]:
        assert math.isclose(wall[name], math.exp(law.inv_cdf(share)), rel_tol=5.1e-6), name
    assert [delay["label"] for delay in cords["delays"]] == [delay["label"] for delay in answer["delays"]]
    pulls = 0
    for delay in cords["delays"]:
        first = delay["arrangements"][0]
        for pull, asked in zip(delay["arrangements"], request["cords"]["arrangements"], strict=True):
            assert pull["name"] == asked["name"]
            width_mm = float(asked["edge_width"].removesuffix(" mm")) * asked.get("legs", 1)
            for quantile, tension in pull["peak_tension_n"].items():
                # Both have six figures.
                assert math.isclose(pull["edge_load_n_per_mm"][quantile], tension / width_mm, rel_tol=1.1e-5), quantile
            # Within what 90 % of the flights pull, and 5 % beyond on either side.
            lower, upper = (law.cdf(math.log(pull["edge_load_n_per_mm"][q])) for q in ("p05", "p95"))
            assert 0.95 * lower < pull["edge_tears"]["estimate"] < upper + 0.05
            half, twice = pull["edge_tears_if"]
            assert (half["resistance_factor"], twice["resistance_factor"]) == (0.5, 2)
            assert half["edge_tears"]["estimate"] > pull["edge_tears"]["estimate"] > twice["edge_tears"]["estimate"]
            against = pull["against_first"]
            assert (against is None) == (pull is first)
            if against:
                ratio = pull["edge_tears"]["estimate"] / first["edge_tears"]["estimate"]
                assert math.isclose(against["times_as_often"], ratio, rel_tol=2e-5), pull["name"]
            pulls += 1
    figures.append(f"cords: {pulls} pulls, their loads, wall and ratios worked out again")


def test_cords_by_libxml2_and_pillow(service, corded):
    _, answer = corded
    root = lxml.etree.fromstring(picture(service, answer, "cords.svg"))
    stands_alone(root, answer["name"], answer["id"])
    painted(root, picture(service, answer, "cords.png"))


def test_pulls_stand_where_the_answer_has_them(service, corded, figures):
    """Every bar of every cord, read off the picture by the ticks of its scales, of SI and of the US, which are logarithms."""
    _, answer = corded
    root = lxml.etree.fromstring(picture(service, answer, "cords.svg"))
    texts = [(float(t.get("x")), float(t.get("y")), t.text, t.get("text-anchor")) for t in root.iter(SVG + "text")]
    number = lambda text: text.replace(".", "", 1).isdigit()
    tops = sorted(y + 7 for _, y, text, anchor in texts if text == "N/mm" and anchor == "end")
    paths = list(root.iter(SVG + "path"))
    arrangements = [pull["name"] for pull in answer["cords"]["delays"][0]["arrangements"]]
    assert len(tops) == len(arrangements)
    read = 0
    for k, (name, top) in enumerate(zip(arrangements, tops)):
        inside = lambda y: top - 1 < y < top + 111
        assert any(text == name and top - 30 < y < top for _, y, text, _ in texts), name
        # Below the name of its unit, and as much of SI as that is.
        def scale_of(unit, of_si):
            (at,) = {x for x, y, text, _ in texts if text == unit and y == top - 7}
            ticks = [(y - 3.5, math.log10(of_si * float(text))) for x, y, text, _ in texts
                     if number(text) and inside(y - 3.5) and x == at]
            return np.polynomial.Polynomial.fit(*np.array(ticks).T, 1)
        pounds = scipy.constants.lbf
        load_of, load_of_us = scale_of("N/mm", 1), scale_of("lbf/in", pounds / (1000 * scipy.constants.inch))
        tension_of, tension_of_us = scale_of("N", 1), scale_of("lbf", pounds)
        quantities = [(scale, "edge_load_n_per_mm") for scale in (load_of, load_of_us)]
        quantities += [(scale, "peak_tension_n") for scale in (tension_of, tension_of_us)]
        delays = np.array([(x, float(text)) for x, y, text, anchor in texts
                           if number(text) and anchor == "middle" and top + 110 < y < top + 130])
        delay_of = np.polynomial.Polynomial.fit(*delays.T, 1)
        found = {}
        for mark in paths:
            if mark.get("stroke-width") == "2.4" and "h" in mark.get("d"):
                x, y, width = map(float, re.match(r"M([\d.]+) ([\d.]+)h([\d.]+)$", mark.get("d")).groups())
                if inside(y):
                    found[round(delay_of(x + width / 2))] = y
        # Places on the picture have one decimal: half of that on the scale, and as much on its ticks.
        near = 10 ** (0.1 * abs(load_of.convert().coef[1])) - 1
        for delay, pulled in zip(answer["delays"], answer["cords"]["delays"], strict=True):
            pull, y = pulled["arrangements"][k], found[round(delay["motor_delay_s"])]
            for scale, quantity in quantities:
                assert math.isclose(10 ** scale(y), pull[quantity]["p50"], rel_tol=near), (name, delay["label"], quantity)
            read += 1
        assert len(found) == len(answer["delays"])
        # What the edge bears: the dashed line.
        dashed = [float(mark.get("d").split()[1].split("H")[0]) for mark in paths if mark.get("stroke-dasharray") == "6 3"]
        (wall,) = filter(inside, dashed)
        assert math.isclose(10 ** load_of(wall), answer["cords"]["wall"]["median_n_per_mm"], rel_tol=near), name
    figures.append(f"cords.svg: {read} bars on four scales each, read off as the answer has them")
