"""`orient field --serve`: one page over the camp's own network, through its own door."""

import os
import re
import signal
import socket
import urllib.error
import urllib.request
from contextlib import contextmanager

import pytest
from browser import open_page
from forked import Forked, needs_fork

from orient.cli import run
from orient.fieldpage.serve import code_in_terminal

SITES = "site,latitude_deg,longitude_deg,timezone\nridge,46.5,9.8,Europe/Zurich\n"
SERVE = ["--from", "2026-05-04", "--serve", "--address", "127.0.0.1", "--port"]


@pytest.fixture
def camp(tmp_path):
    folder = tmp_path / "camp"
    folder.mkdir()
    (folder / "sites.csv").write_text(SITES, encoding="utf-8")
    return folder


@contextmanager
def serving(camp):
    """The command in a process of its own, and the address that it says."""
    heard, shown = os.pipe()
    with open(heard, encoding="utf-8") as screen, (camp.parent / "complaint").open("w") as told:
        started = Forked(["field", str(camp), *SERVE, "0"], stdout=shown, stderr=told.fileno())
        os.close(shown)
        try:
            drawn = []
            for line in screen:
                if re.fullmatch(r"http://127\.0\.0\.1:\d+/", line.strip()):
                    break
                drawn.append(line.rstrip("\n"))
            assert "\n".join(drawn) == code_in_terminal(line.strip())
            yield started, line.strip()
        finally:
            started.end()


def fetched(url, method="GET"):
    request = urllib.request.Request(url, method=method)
    with urllib.request.urlopen(request, timeout=30) as answer:
        return answer.read().decode("utf-8"), dict(answer.headers)


def refused(url, method="GET", data=None):
    request = urllib.request.Request(url, method=method, data=data)
    with pytest.raises(urllib.error.HTTPError) as fault:
        urllib.request.urlopen(request, timeout=30)
    fault.value.close()
    return fault.value.code


@needs_fork
def test_it_gives_the_page_and_nothing_else_and_ends_with_the_command(camp, tmp_path):
    assert run(["field", str(camp), *SERVE[:2], "-o", str(tmp_path / "page.html")]) == 0
    with serving(camp) as (started, url):
        page, headers = fetched(url)
        assert page == (tmp_path / "page.html").read_text(encoding="utf-8")
        assert "default-src 'none'" in headers["Content-Security-Policy"]
        kept, headers = fetched(url + "field.html")
        assert kept == page
        assert headers["Content-Disposition"] == 'attachment; filename="field.html"'
        assert fetched(url, "HEAD")[0] == ""
        for path in ("sites.csv", "camp/sites.csv", "../camp/sites.csv", "..%2fsites.csv", "log"):
            assert refused(url + path) == 404
        for method in ("POST", "PUT", "DELETE"):
            assert refused(url, method, b"x") == 501
        started.send_signal(signal.SIGINT)
        assert started.wait() == 0
        said = (camp.parent / "complaint").read_text("utf-8")
        assert "Given to 127.0.0.1." in said
        assert "Traceback" not in said
        with pytest.raises(urllib.error.URLError):
            urllib.request.urlopen(url, timeout=5)
    assert sorted(path.name for path in camp.iterdir()) == ["sites.csv"]


@needs_fork
def test_the_page_runs_as_served_and_asks_for_nothing_more(camp):
    with serving(camp) as (_, url), open_page(url, 360, height=640) as opened:
        page = opened.page
        page.fill("#f-height", "300")
        page.click("#save-setup")
        page.click("#mark-button")
        assert "Write 1 beside it" in page.inner_text("#mark-says")
        page.click("#tabs [data-part=send]")
        with page.expect_download() as waiting:
            page.click("#download")
        assert waiting.value.suggested_filename.startswith("camp-")
        assert opened.errors == []
        assert {each for each in opened.requests if not each.startswith("blob:")} <= {
            url,
            url + "favicon.ico",
        }


def test_a_port_in_use_and_no_place_for_the_page_are_told(camp, capsys):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        assert run(["field", str(camp), *SERVE, port]) == 2
        assert f"port {port}" in capsys.readouterr().err
    assert run(["field", str(camp), *SERVE[:2]]) == 2
    assert "-o FILE.html, or --serve" in capsys.readouterr().err


def test_a_camera_reads_the_code():
    """The drawing put back into pixels and read by OpenCV's reader of such codes."""
    cv2 = pytest.importorskip("cv2", reason="pip install 'orient[photo]'")
    np = pytest.importorskip("numpy")
    url = "http://192.168.178.23:8315/"
    rows = []
    for line in code_in_terminal(url).splitlines():
        rows.append([each in "█▀" for each in line])
        rows.append([each in "█▄" for each in line])
    light = np.pad(np.array(rows), 4, constant_values=True)
    image = np.kron(light.astype(np.uint8) * 255, np.ones((8, 8), dtype=np.uint8))
    assert cv2.QRCodeDetector().detectAndDecode(image)[0] == url
