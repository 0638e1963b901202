"""The recipes of DEVELOPERS.md, followed in a copy of the package: a strategy and an end use of their own."""

import pytest
import recipes


@pytest.mark.slow
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


@pytest.mark.slow
def test_a_formula_that_differs_from_its_strategy_is_refused(tmp_path):
    """One sign in the formula of the new strategy: nothing is written, and the message names the column. Quickly:
    test_formula_gate.py, with a slip in a formula of the program."""
    package = recipes.copied(tmp_path / "copy")
    recipes.follow({"strategies/changeover.py": (("IF({oat_f}>=", "IF({oat_f}<="),)}, package)
    recipes.follow({"recipes.toml": (("[[group]]", '[bins]\nrows = "mean"\n\n[[group]]'),)}, package.parent)
    done = recipes.command(package.parent)
    assert done.returncode != 0 and not (package.parent / "out").exists()
    assert "formula" in done.stderr and "Supply air setpoint" in done.stderr
