"""The metrics page of a running service, read by the parsers of Prometheus' client library for Python."""

import urllib.error
from pathlib import Path

import pytest
from prometheus_client.parser import text_string_to_metric_families
from service import Service

CARD = Path(__file__).parents[2] / "server/examples/first-flight.json"


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """What is told after a card was posted twice and something was asked that is not there: type and headers, families."""
    with Service(tmp_path_factory.mktemp("data")) as service:
        for _ in range(2):
            service.get("/v1/assessments", CARD.read_bytes())
        with pytest.raises(urllib.error.HTTPError):
            service.get("/nowhere?name=value")
        with service.open("/metrics") as reply:
            text = reply.read().decode()
            return reply.headers, {family.name: family for family in text_string_to_metric_families(text)}


def test_the_type_is_that_of_the_text_format(page):
    # Prometheus documentation, "Exposition formats", basic info: text/plain; version=0.0.4.
    headers, _ = page
    assert headers.get_content_type() == "text/plain"
    assert headers.get_param("version") == "0.0.4"
    assert headers.get_content_charset() == "utf-8"


def test_families_have_help_type_and_prefix(page):
    _, families = page
    assert len(families) >= 20
    for name, family in families.items():
        assert name.startswith("slowpoint_")
        assert family.documentation and family.type in ("counter", "gauge", "histogram"), name
        labels = [(sample.name, tuple(sorted(sample.labels.items()))) for sample in family.samples]
        assert len(labels) == len(set(labels)), name


def test_counts_are_those_of_the_requests(page):
    _, families = page

    def value(name, **labels):
        found = [s.value for f in families.values() for s in f.samples if s.name == name and s.labels == labels]
        assert len(found) == 1, (name, labels, found)
        return found[0]

    posted = dict(method="POST", route="/v1/assessments", status="200")
    assert value("slowpoint_http_requests_total", **posted) == 2
    assert value("slowpoint_http_requests_total", method="GET", route="none", status="404") == 1
    assert value("slowpoint_computations_begun_total") == 1
    assert value("slowpoint_store_up") == 1
    assert value("slowpoint_http_requests_in_flight") == 1


def test_histograms_are_cumulative_and_end_with_everything(page):
    _, families = page
    histograms = [family for family in families.values() if family.type == "histogram"]
    assert len(histograms) == 2
    for family in histograms:
        series = {}
        for sample in family.samples:
            key = tuple(sorted((k, v) for k, v in sample.labels.items() if k != "le"))
            series.setdefault(key, {}).setdefault(sample.name.removeprefix(family.name), []).append(sample)
        for key, parts in series.items():
            counts = [sample.value for sample in sorted(parts["_bucket"], key=lambda s: float(s.labels["le"]))]
            assert counts == sorted(counts), (family.name, key)
            assert counts[-1] == parts["_count"][0].value, (family.name, key)
            assert parts["_sum"][0].value >= 0
