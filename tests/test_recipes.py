"""The recipes of DEVELOPERS.md, followed in a copy of the package: a strategy and an end use of their own."""

import pytest
import recipes


@pytest.mark.crosscheck
def test_recipes_work_as_written(tmp_path):
    """Results, terminal, workbook and checks know both; the workbook computed anew by LibreOffice is the same."""
    assert recipes.run(tmp_path / "copy") > 50_000


def test_recipes_name_the_files_that_are_changed():
    """Who follows the text changes the same files."""
    text = (recipes.ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    of = lambda start: text[text.index(start) : text.index("\n- ", text.index(start))]
    for start, steps in (("- **A strategy:**", recipes.STRATEGY_STEPS), ("- **An end use:**", recipes.END_USE_STEPS)):
        assert [name for name in steps if f"`{name}`" not in of(start)] == []
