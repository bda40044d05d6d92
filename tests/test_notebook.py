"""The notebook of the docs runs from the first cell to the last, and shows what it should."""

import sys

import nbformat
import pytest

pytest.importorskip("nbclient")

from jupyter_client.manager import KernelManager
from make_notebook import PAGE, notebook
from nbclient import NotebookClient


class ThisPython(KernelManager):
    """A kernel of the Python that runs the tests, whatever kernels the machine knows."""

    @property
    def kernel_spec(self):
        from jupyter_client.kernelspec import KernelSpec

        return KernelSpec(
            argv=[sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"],
            language="python",
        )


@pytest.mark.slow
def test_the_notebook_runs(request):
    read = nbformat.read(PAGE, as_version=4)
    assert [cell.source for cell in read.cells] == [cell.source for cell in notebook().cells]
    client = NotebookClient(
        read,
        timeout=300,
        kernel_manager_class=ThisPython,
        resources={"metadata": {"path": str(request.config.rootpath)}},
    )
    client.execute()
    shown = [output for cell in read.cells for output in cell.get("outputs", [])]
    assert not [output for output in shown if output.output_type == "error"]
    pages = [output.data["text/html"] for output in shown if "text/html" in output.get("data", {})]
    assert len(pages) == 5
    assert "aldermoor" in pages[0]
