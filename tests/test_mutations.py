"""The wrongs of mutations.py can still be put in: the run itself is by hand."""

from mutations import MUTATIONS, ROOT


def test_every_mutation_finds_its_place():
    assert len(MUTATIONS) >= 30
    for file, old, new, tests in MUTATIONS:
        assert old in (ROOT / file).read_text("utf-8"), f"{file}: {old}"
        assert old != new
        assert all((ROOT / "tests" / f"{name}.py").is_file() for name in tests.split())
