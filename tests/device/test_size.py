"""Size of the compiled modules against their budget."""

import pytest

from evenclay.tools.board import size


@pytest.mark.parametrize("folder", size.budget())
def test_no_folder_has_outgrown_its_budget(folder: str) -> None:
    found = size.sizes(folder)
    assert len(found) >= 4
    assert sum(found.values()) <= size.budget()[folder]


def test_one_that_has_outgrown_it_is_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(size, "budget", lambda: {"boards/drivers": 10})
    assert size.main() == 1
    assert capsys.readouterr().err.endswith(" bytes, allowed 10\n")
