"""The demo's report through the command: its part on compasses and ground, and its layers."""

import re

import demo_tables
import pandas as pd
import pyogrio
import pytest
from click.testing import CliRunner

from orient.commands.report import report
from orient.export import layers as geodata
from orient.files import write_whole


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    here = tmp_path_factory.mktemp("report")
    write_whole(here / "aldermoor", demo_tables.FILES)
    ran = CliRunner().invoke(report, [str(here / "aldermoor"), "-o", str(here / "page")])
    assert ran.exit_code == 0, (ran.output, ran.exception)
    return here / "page"


def test_verdicts_picture_and_table(folder):
    page = (folder / "index.html").read_text("utf-8")
    part = re.search(r"<section id=compass .*?</section>", page, re.DOTALL)[0]
    assert "Compass old: subtract 2." in part
    assert "ironknoll: the needle points 7." in part
    rows = re.findall(r"<tr><th scope=row>.*?(?=<tr>|</table>)", part, re.DOTALL)
    assert len(rows) == 11  # three compasses, eight places
    assert sum(row.strip().endswith('<td class="words minor">pulled') for row in rows) == 1
    # A dot and a bar for each, and names of at most the room beside the frame.
    assert part.count("<circle") == 11
    assert "<a href=#compass>" in page
    assert "see what <code>orient compass</code> says of ground" in page
    assert "`" not in re.sub(r"<script>.*?</script>", "", page, flags=re.DOTALL)
    shown = re.search(r"<section id=map .*?</section>", page, re.DOTALL)[0]
    assert sum(map(len, re.findall(r'class=shore d="([^"]+)"', shown))) > 2000
    assert "Natural Earth" in shown


def test_the_reports_layers_sites_and_compass_anomalies_with_real_dates(folder):
    """Read by the library alone."""
    path = folder / "results.gpkg"
    layers = dict(pyogrio.list_layers(path))
    assert layers == {
        geodata.LAYER: "MultiLineString", "sites": "Point", "compass_anomalies": "Point",
    }  # fmt: skip
    for layer in (geodata.LAYER, "sites"):
        info = pyogrio.read_info(path, layer=layer)
        types = dict(zip(info["fields"], info["ogr_types"], strict=True))
        assert types["date"] == "OFTDate"
    sites = pyogrio.read_dataframe(path, layer="sites")
    told = pd.read_csv(folder / "sites.csv")
    assert list(sites["site"]) == list(told["site"])
    assert list(sites["date"].dt.strftime("%Y-%m-%d")) == list(told["date"])
    for name in ("declination_deg", "convergence_deg"):
        assert sites[name].to_numpy() == pytest.approx(told[name].to_numpy(), abs=1e-8)
    assert sites.geometry.x.to_numpy() == pytest.approx(told["longitude_deg"].to_numpy(), abs=1e-8)
    pulled = pyogrio.read_dataframe(path, layer="compass_anomalies").set_index("place")
    assert list(pulled.index[pulled["verdict"] == "pulled"]) == ["ironknoll"]
    iron = pulled.loc["ironknoll"]
    assert iron["anomaly_low_deg"] < 7.0 < iron["anomaly_high_deg"]
    assert iron.geometry.distance(sites.geometry[sites["site"] == "ironknoll"].iloc[0]) < 1e-9
